"""A simulated fleet for the bench of the check plan: defects, word of them, visits, costs.

A sensor's defect arises by a Weibull hazard over its age in km; it is heard of at a constant rate
per km after it, as a road failure or a complaint; a bench test finds it with the sensitivity and
condemns a sound one rarely. Each bike is bench-tested once a year at its service, whatever the
policy; those tests take no hours of checks and cost nothing here. Every test also reads how rough
the track is: a normal score that rises with the share of the way to the defect. All constants are
assumed. Whatever chance decides is drawn beforehand
by bike and life, so that all policies meet the same fate (common random numbers).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

N_BIKES, N_SHOPS, N_DEPOTS = 120, 2, 3
LIVES, TESTS = 40, 40
SHAPE, SCALE_KM = 2.5, 45_000.0
HEARD_PER_KM, ROAD_SHARE = 1 / 6_000, 0.4
SENSITIVITY, FALSE_ALARM = 0.9, 0.02
COST = {"part": 120.0, "hour": 70.0, "road": 450.0, "complaint": 90.0, "depot_day": 25.0}
TEST_HOURS, REPLACE_HOURS = 0.5, 0.8
FITTED = COST["part"] + COST["hour"] * REPLACE_HOURS
CHECK_HOURS_A_DAY = 1.0
SERVICE_DAYS = 365
#: Normal score of the roughness read: slope over the share of the way to the defect, and noise.
READ_SLOPE, READ_NOISE = 2.5, 1.0
YEARS_WARM, YEARS = 1, 3
#: Variance of the bikes' own hazard, its rise a year, and the slope of readings (0: none is read).
WORLDS = {
    "as modelled": (0.0, 0.0, READ_SLOPE),
    "frailty 0.5": (0.5, 0.0, READ_SLOPE),
    "drift 15 % a year": (0.0, 0.15, READ_SLOPE),
    "age alone known, no services": (0.0, 0.0, 0.0),
}


@dataclass
class World:
    """One fleet's fate. ``free`` shape (bikes, days); the rest by bike, and life or test."""

    km_per_day: np.ndarray
    shop: np.ndarray
    depot: np.ndarray
    frailty: np.ndarray
    drift: float
    read_slope: float
    free: np.ndarray
    onset: np.ndarray
    delay_km: np.ndarray
    road: np.ndarray
    chance: np.ndarray
    noise: np.ndarray
    service: np.ndarray
    age0: np.ndarray


def make_world(seed: int, frailty: float, drift: float, read_slope: float) -> World:
    """A fleet: 100 bikes of three depots with windows, 20 private ones; two shops."""
    rng = np.random.default_rng([seed, 7])
    days = 365 * (YEARS_WARM + YEARS) + 60
    depot = np.where(np.arange(N_BIKES) < 100, np.arange(N_BIKES) % N_DEPOTS, -1)
    shop = np.where(depot >= 0, depot % N_SHOPS, np.arange(N_BIKES) % N_SHOPS)
    working = np.arange(days) % 7 < 5
    free = np.zeros((N_BIKES, days), dtype=bool)
    for start in range(0, days, 14):
        begin = start + rng.integers(0, 14, N_BIKES)
        length = rng.integers(1, 5, N_BIKES)
        for bike in range(N_BIKES):
            free[bike, begin[bike] : begin[bike] + length[bike]] = True
    free[depot < 0] = True
    shape = 1 / frailty if frailty else 1.0
    return World(
        km_per_day=55.0 * rng.lognormal(0, 0.45, N_BIKES),
        shop=shop,
        depot=depot,
        frailty=rng.gamma(shape, 1 / shape, N_BIKES) if frailty else np.ones(N_BIKES),
        drift=drift,
        read_slope=read_slope,
        free=free & working,
        onset=rng.exponential(size=(N_BIKES, LIVES)),
        delay_km=rng.exponential(1 / HEARD_PER_KM, (N_BIKES, LIVES)),
        road=rng.random((N_BIKES, LIVES)) < ROAD_SHARE,
        chance=rng.random((N_BIKES, LIVES, TESTS)),
        noise=rng.normal(0, READ_NOISE, (N_BIKES, LIVES, TESTS)),
        service=rng.integers(0, SERVICE_DAYS, N_BIKES),
        age0=rng.uniform(0, SCALE_KM * 0.6, N_BIKES),
    )


def hazard(age_km: np.ndarray) -> np.ndarray:
    """Cumulative hazard as modelled."""
    return (age_km / SCALE_KM) ** SHAPE


class Fleet:
    """A fleet while its days run; a policy sees ``age``, ``since_km`` and ``heard`` alone."""

    def __init__(self, world: World) -> None:
        self.world, n = world, N_BIKES
        self.day = 0
        self.age = world.age0.copy()
        self.spent = np.zeros(n)
        self.life, self.test = np.zeros(n, dtype=int), np.zeros(n, dtype=int)
        self.sick_km = np.full(n, np.nan)
        self.since_km, self.since_days = world.age0.copy(), np.zeros(n)
        self.new = np.zeros(n, dtype=bool)
        self.total = dict.fromkeys(
            ("cost", "road", "complaints", "tests", "hours", "replaced"), 0.0
        )

    @property
    def counts(self) -> bool:
        """Whether the warm-up is over."""
        return self.day >= 365 * YEARS_WARM

    def add(self, **what: float) -> None:
        """Count something, once the warm-up is over."""
        if self.counts:
            for name, value in what.items():
                self.total[name] += value

    def ride(self) -> np.ndarray:
        """One day: who was heard of, and was given a new sensor for it."""
        world, km = self.world, self.world.km_per_day
        rise = hazard(self.age + km) - hazard(self.age)
        self.spent += rise * world.frailty * (1 + world.drift * self.day / 365)
        self.age += km
        self.since_km += km
        self.since_days += 1
        sick = self.spent > world.onset[np.arange(N_BIKES), self.life]
        self.sick_km = np.where(sick, np.nan_to_num(self.sick_km) + km, np.nan)
        heard = sick & (self.sick_km > world.delay_km[np.arange(N_BIKES), self.life])
        for bike in np.flatnonzero(heard).tolist():
            road = bool(world.road[bike, self.life[bike]])
            self.add(
                cost=FITTED + COST["road" if road else "complaint"],
                road=road,
                complaints=not road,
            )
            self.renew(bike)
        self.day += 1
        return heard

    def renew(self, bike: int) -> None:
        """A new sensor."""
        self.age[bike] = self.spent[bike] = self.since_km[bike] = self.since_days[bike] = 0.0
        self.sick_km[bike] = np.nan
        self.life[bike] += 1
        self.test[bike] = 0

    def check(self, bike: int, action: str) -> tuple[bool, float]:
        """A planned visit: whether the sensor was replaced, and the roughness read if not."""
        if action == "replace":
            self.add(cost=FITTED, hours=REPLACE_HOURS, replaced=1)
            self.renew(bike)
            return True, np.nan
        self.add(cost=COST["hour"] * TEST_HOURS, hours=TEST_HOURS, tests=1)
        self.since_km[bike] = self.since_days[bike] = 0.0
        found, reading = self._test(bike)
        self.add(hours=REPLACE_HOURS * found)
        return found, reading

    def serve(self) -> list[tuple[int, bool, float]]:
        """Services of the day: bike, whether its sensor was replaced, and the roughness read."""
        if not self.world.read_slope:
            return []
        due = np.flatnonzero(self.world.service == self.day % SERVICE_DAYS)
        return [(bike, *self._test(bike)) for bike in due.tolist()]

    def _test(self, bike: int) -> tuple[bool, float]:
        at = bike, self.life[bike], min(self.test[bike], TESTS - 1)
        sick, spent = np.isfinite(self.sick_km[bike]), self.spent[bike]
        # age goes with spent hazard to the power 1 / shape where nothing drifts
        way = min((spent / self.world.onset[at[:2]]) ** (1 / SHAPE), 1.0)
        self.test[bike] += 1
        if self.world.chance[at] < (SENSITIVITY if sick else FALSE_ALARM):
            self.add(cost=FITTED, replaced=1)
            self.renew(bike)
            return True, np.nan
        return False, self.world.read_slope * way + float(self.world.noise[at])


def run(world: World, policy: object) -> dict[str, float]:
    """All days under one policy, per bike-year; hours are those of checks and what they found."""
    fleet = Fleet(world)
    policy.begin(fleet)
    for _ in range(365 * (YEARS_WARM + YEARS)):
        heard = fleet.ride()
        for bike, replaced, reading in fleet.serve():
            policy.seen(bike, replaced=replaced, reading=reading)
        visits = policy.visits(fleet, heard)
        depots = {int(world.depot[bike]) for bike, _ in visits} - {-1}
        fleet.add(cost=COST["depot_day"] * len(depots))
        for bike, action in visits:
            replaced, reading = fleet.check(bike, action)
            policy.seen(bike, replaced=replaced, reading=reading)
    return {name: value / (N_BIKES * YEARS) for name, value in fleet.total.items()}


def within_hours(fleet: Fleet, wanted: np.ndarray, hours: float) -> list[int]:
    """Bikes, the most wanted first, that are free today, as far as their shop's hours go."""
    left = np.full(N_SHOPS, CHECK_HOURS_A_DAY)
    found = []
    for bike in wanted.tolist():
        shop = fleet.world.shop[bike]
        if fleet.world.free[bike, fleet.day] and hours <= left[shop] + 1e-9:
            left[shop] -= hours
            found.append(bike)
    return found
