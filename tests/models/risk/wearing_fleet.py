"""Fleets whose sensors roughen before they fail, as records: what the risk models are handed.

No sweep is drawn: a test gives a roughness reading, a count of checks out of band and whether it
found the defect. Bikes are followed from contact to contact, all bikes at once; a contact is a
visit, a complaint of another cause, a complaint of roughness, or a defect heard of. A visit's km
count from the last contact. A defect heard of is found for certain, by any other test with the
sensitivity; a found sensor is replaced by a new one of the same part. Tests never point to a defect
that is not there, and every finding is repaired: there are no open doubts.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from tests.models.risk.wearing_records import Log, Recorded, frames, recorded
from tests.models.risk.wearing_world import TODAY, Begun, Wear, World, drawn_wear

_VISIT, _OTHER, _ROUGH, _HEARD = 0, 1, 2, 3
_MOST_CONTACTS = 400
#: The setting unless another is asked for.
USUAL = World()


@dataclass(frozen=True)
class WearingFleet:
    """Records and truth of one fleet.

    ``windows``, ``sensors_now``, ``wear_readings`` and ``contact_gaps`` hold the columns of their
    schemas, and beside them the truth in columns ``true_...`` (km of age; ``true_defect_km`` is
    the age at the defect) and what the records tell but those schemas leave out (``prompted`` by a
    symptom; ``bike_km``, the bike's odometer reading counted from first sight). ``bikes`` is one
    row a bike, ``contacts`` one row a contact. ``wear`` is the truth behind it all.
    """

    world: World
    wear: Wear
    windows: pd.DataFrame
    sensors_now: pd.DataFrame
    wear_readings: pd.DataFrame
    contact_gaps: pd.DataFrame
    bikes: pd.DataFrame
    contacts: pd.DataFrame


@dataclass
class _Bikes:
    """Fixed traits of each bike, and of the sensors in its (one or two) places."""

    slots: np.ndarray
    part: np.ndarray
    duty: np.ndarray
    shop: np.ndarray
    private: np.ndarray
    retired: np.ndarray
    km_per_day: np.ndarray
    end_km: np.ndarray
    ratio: np.ndarray
    frailty: np.ndarray
    in_use: np.ndarray
    unknown: np.ndarray


@dataclass
class _Sensors:
    """The sensors now in the places of each bike, arrays of shape (bikes, 2).

    ``fitted`` is the bike's km (from first sight) at which age 0 was.
    """

    fitted: np.ndarray
    defect: np.ndarray
    heard: np.ndarray
    factor: np.ndarray
    number: np.ndarray
    born: np.ndarray = field(repr=False)


def simulate_wearing_fleet(bikes: int, seed: int, world: World = USUAL) -> WearingFleet:
    """Records of one fleet with known truth.

    Parameters
    ----------
    bikes : int
        Number of bikes; about ``two_sensors`` of them carry two sensors.
    seed : int
        Seed of the wear constants and of all chance.
    world : World
        The setting.
    """
    wear, rng = drawn_wear(world, seed), np.random.default_rng([seed, 71])
    fleet = _draw_bikes(rng, bikes, wear, world)
    sensors = _draw_first_sensors(rng, fleet, wear, world)
    first = sensors.fitted.copy()
    log = Log()
    lost = _ride(rng, fleet, sensors, wear, world, log)
    log.close(fleet, sensors, lost)
    record: Recorded = recorded(rng, log, fleet.end_km, world)
    return WearingFleet(world, wear, *frames(rng, log, record, fleet, first, wear, world))


def _draw_bikes(rng: np.random.Generator, n: int, wear: Wear, world: World) -> _Bikes:
    private = rng.random(n) < world.share_private
    duty, shop = rng.integers(world.duties, size=n), rng.integers(4, size=n)
    km_per_day = 30.0 * np.exp(0.5 * rng.standard_normal(n))
    part = rng.integers(world.parts, size=(n, 2))
    ratio = wear.duty_ratio[duty] * wear.shop_ratio[shop] * (km_per_day / 30.0) ** wear.riding_power
    return _Bikes(
        slots=1 + (rng.random(n) < world.two_sensors),
        part=part,
        duty=duty,
        shop=shop,
        private=private,
        retired=~private & (rng.random(n) * (1 - world.share_private) < world.share_retired),
        km_per_day=km_per_day,
        end_km=rng.uniform(*world.watch_km, n),
        ratio=wear.part_ratio[part] * ratio[:, None],
        frailty=np.ones(n),
        in_use=rng.random(n) < world.share_in_use,
        unknown=rng.random(n) * world.share_in_use < world.share_unknown,
    )


def _draw_first_sensors(
    rng: np.random.Generator, fleet: _Bikes, wear: Wear, world: World
) -> _Sensors:
    """Bikes in use are drawn anew until all their sensors are in use still: truncation."""
    shape = fleet.part.shape
    age, defect, heard, factor = (np.zeros(shape) for _ in range(4))
    again = np.ones(len(age), dtype=bool)
    present = np.arange(2) < fleet.slots[:, None]
    while again.any():
        k = int(again.sum())
        fleet.frailty[again] = rng.gamma(wear.frailty_shape, 1 / wear.frailty_shape, k)
        entered = rng.uniform(0, world.oldest_entry_km, (k, 2))
        age[again] = np.where(fleet.in_use[again, None], entered, 0.0)
        drawn = _draw_sensors(rng, fleet, wear, again, -age[again])
        defect[again], heard[again], factor[again] = drawn
        gone = (heard if world.silent_at_entry else defect) <= age
        again &= (gone & present).any(axis=1)
    number = np.zeros(shape, dtype=int)
    return _Sensors(-age, defect, heard, factor, number, np.zeros(shape, dtype=int))


def _draw_sensors(
    rng: np.random.Generator, fleet: _Bikes, wear: Wear, bike: np.ndarray, fitted: np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Age at the defect, age at which it is heard of, and specimen factor, for these bikes.

    ``fitted`` : km of the bikes at age 0, of shape (bikes, 2).
    """
    ratio = fleet.ratio[bike] * fleet.frailty[bike, None]
    defect = wear.draw_lives(rng, ratio, _begun(fleet, wear, bike, fitted))
    mean = wear.delay_km / wear.delay_shape
    heard = defect + rng.gamma(wear.delay_shape, mean, ratio.shape)
    return defect, heard, np.exp(wear.factor_sd * rng.standard_normal(ratio.shape))


def _begun(fleet: _Bikes, wear: Wear, bike: np.ndarray, fitted: np.ndarray) -> Begun | None:
    """When the sensors of these bikes were new; None where there are no seasons."""
    if not wear.season:
        return None
    days_per_km = np.broadcast_to(1 / fleet.km_per_day[bike, None], fitted.shape)
    return Begun(TODAY - (fleet.end_km[bike, None] - fitted) * days_per_km, days_per_km)


def _ride(
    rng: np.random.Generator,
    fleet: _Bikes,
    sensors: _Sensors,
    wear: Wear,
    world: World,
    log: Log,
) -> np.ndarray:
    """Follow all bikes from contact to contact; returns the bikes lost from view."""
    n = len(fleet.slots)
    at, lost = np.zeros(n), np.zeros(n, dtype=bool)
    some, kind, slot = np.arange(n), np.zeros(n, dtype=int), np.full(n, -1)
    for turn in range(_MOST_CONTACTS):
        chance = world.test_chance if turn else 0.5
        _contact(rng, fleet, sensors, wear, log, (some, at[some], kind, slot, chance))
        if turn:
            lost[some] |= fleet.private[some] & (rng.random(len(some)) < world.lost_chance)
        some = some[~lost[some]]
        following, kind, slot = _next_contact(rng, fleet, sensors, wear, world, some, at[some])
        going = following <= fleet.end_km[some]
        some, kind, slot = some[going], kind[going], slot[going]
        at[some] = following[going]
        if not len(some):
            return lost
    raise AssertionError("more contacts than a bike can have")


def _next_contact(
    rng: np.random.Generator,
    fleet: _Bikes,
    sensors: _Sensors,
    wear: Wear,
    world: World,
    some: np.ndarray,
    at: np.ndarray,
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Km of the next contact, its kind and the place on the bike that it is about (-1: all)."""
    n, age = len(some), at[:, None] - sensors.fitted[some]
    visit = at + world.visit_km * rng.uniform(0.4, 1.6, n)
    other = at[:, None] + rng.exponential(world.other_km, (n, 2))
    rough = np.full((n, 2), np.inf)
    if np.isfinite(world.wear_complaints_km):
        felt = wear.growth_km(age, sensors.defect[some])
        felt = felt + rng.exponential(world.wear_complaints_km, (n, 2))
        rough = wear.age_at_growth_km(felt, sensors.defect[some]) + sensors.fitted[some]
        rough = np.where(rough > at[:, None], rough, np.inf)
    heard = sensors.heard[some] + sensors.fitted[some]
    each = np.stack([other, rough, heard], axis=1)
    each[:, :, 1][fleet.slots[some] < 2] = np.inf
    every = np.column_stack([visit, each.reshape(n, 6)])
    first = every.argmin(axis=1)
    kind, slot = (
        np.where(first > 0, (first + 1) // 2, _VISIT),
        np.where(first > 0, (first + 1) % 2, -1),
    )
    return every.min(axis=1), kind, slot


def _contact(
    rng: np.random.Generator,
    fleet: _Bikes,
    sensors: _Sensors,
    wear: Wear,
    log: Log,
    what: tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray, float],
) -> None:
    """Read the odometers, test what is to be tested, replace what is found with the defect."""
    some, at, kind, about, chance = what
    contact = log.contact(some, at)
    at_visit = (about < 0) & (rng.random(len(some)) < chance)
    for slot in (0, 1):
        tested = (about == slot) | (at_visit & (fleet.slots[some] > slot))
        bike, age = some[tested], (at - sensors.fitted[some, slot])[tested]
        with_defect = age >= sensors.defect[bike, slot]
        sure = kind[tested] == _HEARD
        found = with_defect & (sure | (rng.random(len(bike)) < wear.sensitivity))
        way = age / sensors.defect[bike, slot]
        rough = wear.floor_pct + wear.depth_pct * sensors.factor[bike, slot] * wear.growth(way)
        checks = wear.check_sound + wear.check_worn * wear.growth(way)
        prompted = kind[tested] > _VISIT
        rows = (bike, slot, sensors, contact[tested], found, prompted, sure)
        log.test(*rows, rough=rough, checks=checks)
        _replace(rng, fleet, sensors, wear, bike[found], slot, contact[tested][found], log)


def _replace(
    rng: np.random.Generator,
    fleet: _Bikes,
    sensors: _Sensors,
    wear: Wear,
    bike: np.ndarray,
    slot: int,
    contact: np.ndarray,
    log: Log,
) -> None:
    log.life(bike, slot, sensors, found=contact)
    fitted = np.broadcast_to(log.km(contact)[:, None], (len(bike), 2))
    defect, heard, factor = _draw_sensors(rng, fleet, wear, bike, fitted)
    sensors.fitted[bike, slot] = log.km(contact)
    sensors.defect[bike, slot] = defect[:, slot]
    sensors.heard[bike, slot] = heard[:, slot]
    sensors.factor[bike, slot] = factor[:, slot]
    sensors.number[bike, slot] += 1
    sensors.born[bike, slot] = contact
