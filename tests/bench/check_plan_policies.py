"""Ways of calling bikes in: ours, at fixed intervals, never, and with perfect knowledge."""

from __future__ import annotations

from datetime import date, timedelta

import numpy as np
import pandas as pd

from models.check_plan.plan import CheckRecords, plan_checks
from models.check_plan.schemas import CHECK_COMING, CHECK_OWED, CHECK_PARTS, CHECK_STOCK
from models.check_plan.settings import CheckSettings
from models.plans.belief import Test
from models.plans.check_costs import check_days
from models.plans.costs import Prices
from models.plans.new_life import AGES_KM, new_life
from models.plans.policy import KM_AHEAD, alternatives, at_km
from tests.bench import check_plan_world as w

_START = date(2024, 1, 1)  # a Monday, as day 0 of the world is
REPLAN_DAYS = 14
_GRID = check_days(6)
#: Ages at which a defect may come, in cells, and the chance of each for a new sensor.
_EDGES = np.concatenate([np.linspace(0, 120_000, 241), [400_000.0]])
_ONSETS = (_EDGES[1:] + _EDGES[:-1]) / 2
_PRIOR = -np.diff(np.exp(-w.hazard(_EDGES)))


class Never:
    """No checks."""

    def begin(self, fleet: w.Fleet) -> None:
        self._fleet = fleet

    def visits(self, fleet: w.Fleet, heard: np.ndarray) -> list[tuple[int, str]]:
        return []

    def seen(self, bike: int, *, replaced: bool, reading: float) -> None:
        """Nothing to learn."""


class FixedInterval(Never):
    """A test whenever a bike is due by days, or by km, and free; the longest overdue first."""

    def __init__(self, every: float, *, by: str = "km") -> None:
        self.every, self.by = every, by

    def visits(self, fleet: w.Fleet, heard: np.ndarray) -> list[tuple[int, str]]:
        over = (fleet.since_days if self.by == "days" else fleet.since_km) / self.every
        due = np.flatnonzero(over >= 1)
        due = due[np.argsort(-over[due], kind="stable")]
        return [(bike, "test") for bike in w.within_hours(fleet, due, w.TEST_HOURS)]


class FixedReplacement(FixedInterval):
    """A new sensor whenever a bike's has run a set distance and it is free."""

    def visits(self, fleet: w.Fleet, heard: np.ndarray) -> list[tuple[int, str]]:
        due = np.flatnonzero(fleet.age >= self.every)
        due = due[np.argsort(-fleet.age[due], kind="stable")]
        return [(bike, "replace") for bike in w.within_hours(fleet, due, w.REPLACE_HOURS)]


class Perfect(Never):
    """Knows each defect the moment it arises: the bike is called in on its next free day."""

    def visits(self, fleet: w.Fleet, heard: np.ndarray) -> list[tuple[int, str]]:
        sick = np.flatnonzero(np.isfinite(fleet.sick_km))
        sick = sick[np.argsort(-fleet.sick_km[sick], kind="stable")]
        return [(bike, "replace") for bike in w.within_hours(fleet, sick, w.REPLACE_HOURS)]


class Ours(Never):
    """The product's own costs of each day and plan of checks, anew each fortnight.

    What is known of a sensor is a chance for each age at which its defect may come, moved by
    silence, tests passed and roughness read (Bayes), as the product's risk model does.
    """

    def __init__(self, world: w.World) -> None:
        self.world, n = world, w.N_BIKES
        self.test = Test(w.SENSITIVITY, w.FALSE_ALARM)
        one = np.ones(n)
        word = w.ROAD_SHARE * w.COST["road"] + (1 - w.ROAD_SHARE) * w.COST["complaint"]
        prices = Prices(
            test=w.COST["hour"] * w.TEST_HOURS * one,
            replace=w.FITTED * one,
            found=w.FITTED * one,
            false_alarm=w.FITTED * one,
            heard=(w.FITTED + word) * one,
            usual_per_km=0 * one,
        )
        life = new_life(
            w.hazard(AGES_KM)[None, :], prices.take(slice(0, 1)), self.test, w.HEARD_PER_KM
        )
        self.prices = prices._replace(usual_per_km=life.cost_per_km[0] * one)
        self.weight = np.tile(_PRIOR, (n, 1))
        self.known_age = np.zeros(n)
        self.planned: dict[int, list[tuple[int, str]]] = {}

    def visits(self, fleet: w.Fleet, heard: np.ndarray) -> list[tuple[int, str]]:
        for bike in np.flatnonzero(heard).tolist():
            self.seen(bike, replaced=True, reading=np.nan)
        if fleet.day % REPLAN_DAYS == 0:
            self._plan(fleet)
        return self.planned.pop(fleet.day, [])

    def seen(self, bike: int, *, replaced: bool, reading: float) -> None:
        if replaced:
            for day, visits in self.planned.items():
                self.planned[day] = [visit for visit in visits if visit[0] != bike]
            self.weight[bike], self.known_age[bike] = _PRIOR, 0.0
            return
        some, age = np.array([bike]), self._fleet.age[[bike]]
        self._ride_on(some, age)
        missed = np.where(age[0] >= _ONSETS, 1 - w.SENSITIVITY, 1 - w.FALSE_ALARM)
        way = np.minimum(age[0] / _ONSETS, 1.0)
        read = np.exp(-0.5 * ((reading - self.world.read_slope * way) / w.READ_NOISE) ** 2)
        self._learn(some, missed * read)

    def _ride_on(self, bikes: np.ndarray, age: np.ndarray) -> None:
        """Nothing was heard over the km run since chances were last told."""
        before = np.maximum(self.known_age[bikes, None], _ONSETS)
        self._learn(bikes, np.exp(-w.HEARD_PER_KM * np.maximum(age[:, None] - before, 0)))
        self.known_age[bikes] = age

    def _learn(self, bikes: np.ndarray, likelihood: np.ndarray) -> None:
        weight = self.weight[bikes] * likelihood
        self.weight[bikes] = weight / np.maximum(weight.sum(axis=1, keepdims=True), 1e-300)

    def _chances(self, age: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Chance of a defect now, and of one in each step ahead for a sound sensor."""
        by = np.concatenate([np.zeros((len(age), 1)), np.cumsum(self.weight, axis=1)], axis=1)
        edges = np.concatenate([[0.0], _EDGES[1:]])
        at = np.stack([np.interp(a + KM_AHEAD, edges, row) for a, row in zip(age, by, strict=True)])
        sound = np.maximum(1 - at, 1e-9)
        return at[:, 0], np.clip(1 - sound[:, 1:] / sound[:, :-1], 0, 1)

    def _plan(self, fleet: w.Fleet) -> None:
        self._ride_on(np.arange(w.N_BIKES), fleet.age)
        costs = self._costs(fleet)
        day = _START + timedelta(days=fleet.day)
        made = plan_checks(self._records(fleet, costs), day, SETTINGS)
        self.planned = {}
        for row in made.work.to_dict("records"):
            at = (row["on_day"].date() - _START).days
            self.planned.setdefault(at, []).append((int(row["unit_id"]), row["action"]))

    def _costs(self, fleet: w.Fleet) -> pd.DataFrame:
        belief, onset = self._chances(fleet.age)
        found = alternatives(belief, onset, self.prices, self.test, w.HEARD_PER_KM, n_beliefs=17)
        days = _GRID.astype(float)
        km = self.world.km_per_day[:, None] * days
        test, replace = at_km(found.test_at, km), at_km(found.replace_at, km)
        without = at_km(found.best_at, km[:, -1:])
        n, g = w.N_BIKES, len(days)
        bike = np.repeat(np.arange(n).astype(str), g)
        return pd.DataFrame(
            {
                "sensor_id": bike,
                "unit_id": bike,
                "shop_id": np.repeat(self.world.shop.astype(str), g),
                "fleet_id": np.repeat(_fleets(self.world), g),
                "part_no": "P",
                "action": np.where(replace < test, "replace", "test").ravel(),
                "day": np.tile(_GRID, n),
                "cost": np.minimum(test, replace).ravel(),
                "cost_without": np.repeat(without[:, 0], g),
                "part_needed": np.where(replace < test, 1.0, 0.1).ravel(),
            }
        )

    def _records(self, fleet: w.Fleet, costs: pd.DataFrame) -> CheckRecords:
        world, now = self.world, pd.Timestamp(_START) + pd.Timedelta(days=fleet.day)
        unit = np.arange(w.N_BIKES).astype(str)
        bikes = pd.DataFrame(
            {
                "unit_id": unit,
                "label": unit,
                "shop_id": world.shop.astype(str),
                "fleet_id": _fleets(world),
                "last_session_id": None,
            }
        )
        bike, day = np.nonzero(world.free[:, fleet.day : fleet.day + 43])
        fleet_bike = world.depot[bike] >= 0
        on = now + pd.to_timedelta(day[fleet_bike], unit="D")
        windows = pd.DataFrame({"unit_id": unit[bike[fleet_bike]], "free_from": on, "free_to": on})
        shops = pd.DataFrame(
            {
                "shop_id": [str(s) for s in range(w.N_SHOPS)],
                "shop_name": "shop",
                "bay_hours_per_day": 4 * w.CHECK_HOURS_A_DAY,
            }
        )
        return CheckRecords(
            costs,
            CHECK_OWED.empty(),
            bikes,
            windows,
            shops,
            CHECK_STOCK.empty(),
            CHECK_PARTS.empty(),
            CHECK_COMING.empty(),
        )


SETTINGS = CheckSettings(check_share_of_bay_hours=0.25, depot_day_cost=w.COST["depot_day"])


def _fleets(world: w.World) -> np.ndarray:
    return np.array([None if d < 0 else f"depot {d}" for d in world.depot], dtype=object)
