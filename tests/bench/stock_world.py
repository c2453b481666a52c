"""A simulated year of parts asked for in several shops, and what a planner is told each week.

Sensors wear out by a Weibull law of the distance run, part by part; half of them belong to bikes
bought together, so that needs come in waves. A part is also asked for by planned replacements at a
set distance, known seven weeks ahead, by bikes never seen before, and by new parts that
fail early. What is asked for does not hang on what was in stock, so that every way of ordering
meets the same needs. The planner knows neither law nor rates. What it believes of the Weibull
constants and of each bike's km a day is a middle and a spread, of which the truth is one draw, as
for a planner whose intervals hold what they say; its walk-in rate is from three years of first
visits and its repeat rate from a record of replacements. All numbers are assumed.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date

import numpy as np
import pandas as pd

from models.stock import schemas
from models.stock.counts import CountDistribution
from models.stock.demand import Demand
from models.stock.needs import SensorNeeds
from models.stock.repeats import repeat_rate
from models.stock.supersession import Numbers
from models.stock.walk_in import walk_in_rates

HISTORY_WEEKS, WARM_WEEKS, SCORED_WEEKS = 104, 8, 52
WEEKS = HISTORY_WEEKS + WARM_WEEKS + SCORED_WEEKS
REVIEW_DAYS, DRAWS = 7, 8
DAY = date(2026, 1, 1)
SHOPS = ("north", "south", "east")
_LOG_SCALE_ERROR, _LOG_SHAPE_ERROR, _KM_ERROR = 0.12, 0.10, 0.15
_PLANNED_DAYS = 49
_EARLY_SHARE, _EARLY_DAYS = 0.02, 60.0


@dataclass(frozen=True)
class PartKind:
    """One part number: how it wears, what it costs and how long it takes to come."""

    part_no: str
    shape: float
    scale_km: float
    planned_km: float
    unit_price: float
    lead_time_days: int


PARTS = (
    PartKind("A", 1.4, 70_000.0, np.inf, 95.0, 14),
    PartKind("B", 2.5, 55_000.0, np.inf, 130.0, 21),
    PartKind("C", 3.0, 60_000.0, 52_000.0, 210.0, 35),
)


@dataclass(frozen=True)
class World:
    """One draw of shops. Arrays by cell (shop and part), shape (cells, days) or (cells,).

    ``asked`` holds the parts asked for each day from the beginning of the history, ``weekly`` the
    planner's needs at the beginning of each week from the end of the history on.
    """

    cells: pd.DataFrame
    asked: np.ndarray
    weekly: list[Demand]
    _covered: dict[int, CountDistribution] = field(default_factory=dict)

    def covered(self, week: int) -> CountDistribution:
        """The planner's needs over the lead time, and with the review period, shape (cells, 3)."""
        if week not in self._covered:
            lead = self.cells["lead_time_days"].to_numpy(float)
            days = np.stack([lead, lead, lead + REVIEW_DAYS], axis=1)
            asked = self.weekly[week - HISTORY_WEEKS].asked(days, {})
            self._covered[week] = asked.mixed(axis=1)
        return self._covered[week]


def simulate(seed: int, size: float = 1.0) -> World:
    """One world; ``size`` scales the number of sensors."""
    rng = np.random.default_rng([seed, 7])
    cells = pd.DataFrame(
        [
            (shop, kind.part_no, kind.unit_price, kind.lead_time_days)
            for shop in SHOPS
            for kind in PARTS
        ],
        columns=["shop_id", "part_no", "unit_price", "lead_time_days"],
    )
    told = _told(rng, size)
    sensors = _true(rng, told)
    asked = np.zeros((len(cells), 7 * WEEKS), dtype=int)
    lives = _lives(rng, sensors, asked)
    walk = rng.gamma(2.0, 2.0, len(cells)) / 365.25
    asked += rng.poisson(walk[:, None], asked.shape)
    visits = _first_visits(rng, cells, walk)
    again = schemas.REPEATS.check(
        pd.DataFrame({"n_repeats": [rng.poisson(_EARLY_SHARE * 300)], "days": [300 * 182.0]})
    )
    weekly = [
        Demand(
            needs,
            needs.sensors["part_no"].to_numpy(object),
            visits,
            repeat_rate(again),
            Numbers({}),
            cells[["shop_id", "part_no"]],
        )
        for needs in (_needs(told, lives, week) for week in range(HISTORY_WEEKS, WEEKS))
    ]
    return World(cells, asked, weekly)


@dataclass(frozen=True)
class _Sensors:
    """Sensors at the beginning of the history: cell, kind, true constants, riding and age."""

    cell: np.ndarray
    kind: np.ndarray
    shape: np.ndarray
    scale_km: np.ndarray
    km_per_day: np.ndarray
    age_km: np.ndarray


@dataclass(frozen=True)
class _Told:
    """What the planner believes: km a day, and constants of shape (sensors, draws)."""

    cell: np.ndarray
    kind: np.ndarray
    shape: np.ndarray
    scale_km: np.ndarray
    km_per_day: np.ndarray
    age_km: np.ndarray


@dataclass(frozen=True)
class _Life:
    """Lives of all sensors: place, first and last day, age at the first, and planned day."""

    place: np.ndarray
    begins: np.ndarray
    ends: np.ndarray
    age_km: np.ndarray
    planned: np.ndarray


def _told(rng: np.random.Generator, size: float) -> _Told:
    cell, daily, age = [], [], []
    for c in range(len(SHOPS) * len(PARTS)):
        part = PARTS[c % len(PARTS)]
        mixed = max(2, int(size * rng.integers(30, 120)))
        own = rng.lognormal(np.log(30), 0.5, mixed)
        ages = rng.uniform(0, 0.9, mixed) * part.scale_km
        for _ in range(rng.integers(1, 3)):
            fleet = max(2, int(size * rng.integers(20, 70)))
            own = np.append(own, rng.lognormal(np.log(45), 0.15, fleet))
            bought = rng.uniform(0, 0.7) * part.scale_km
            ages = np.append(ages, np.maximum(bought + rng.normal(0, 2_000, fleet), 0))
        daily.append(own)
        age.append(ages)
        cell.append(np.full(len(own), c))
    cells = np.concatenate(cell)
    kind = cells % len(PARTS)
    shape, scale = _constants(rng, DRAWS)
    daily_km, ages_km = np.concatenate(daily), np.concatenate(age)
    return _Told(cells, kind, shape[kind], scale[kind], daily_km, ages_km)


def _true(rng: np.random.Generator, told: _Told) -> _Sensors:
    """One draw of what the planner believes."""
    shape, scale = _constants(rng, 1)
    off = np.exp(_KM_ERROR * rng.standard_normal(len(told.kind)) - _KM_ERROR**2 / 2)
    return _Sensors(
        told.cell,
        told.kind,
        shape[told.kind, 0],
        scale[told.kind, 0],
        told.km_per_day * off,
        told.age_km,
    )


def _constants(rng: np.random.Generator, draws: int) -> tuple[np.ndarray, np.ndarray]:
    """Weibull shape and scale of each kind, arrays of shape (kinds, draws)."""
    off = rng.standard_normal((2, len(PARTS), draws))
    shape, scale = (np.array([[getattr(p, n)] for p in PARTS]) for n in ("shape", "scale_km"))
    return shape * np.exp(_LOG_SHAPE_ERROR * off[0]), scale * np.exp(_LOG_SCALE_ERROR * off[1])


def _lives(rng: np.random.Generator, sensors: _Sensors, asked: np.ndarray) -> _Life:
    """Live through all days; what is asked for is counted into ``asked``."""
    shape, scale = sensors.shape, sensors.scale_km
    planned_km = np.array([p.planned_km for p in PARTS])[sensors.kind]
    last = asked.shape[1]
    place, begin, age = np.arange(len(shape)), np.zeros(len(shape)), sensors.age_km
    rows = []
    while len(place):
        k, lam, v = shape[place], scale[place], sensors.km_per_day[place]
        used = (age / lam) ** k
        wears = lam * (used + rng.exponential(size=len(place))) ** (1 / k)
        days = (wears - age) / v
        fresh = begin > 0
        early = fresh & (rng.random(len(place)) < _EARLY_SHARE)
        days = np.where(early, np.minimum(days, rng.exponential(_EARLY_DAYS, len(place))), days)
        planned = begin + np.maximum((planned_km[place] - age) / v, _PLANNED_DAYS)
        ends = np.minimum(begin + days, planned)
        rows.append((place, begin, ends, age, planned))
        over = ends < last
        np.add.at(asked, (sensors.cell[place[over]], ends[over].astype(int)), 1)
        place, begin, age = place[over], np.ceil(ends[over] + 1e-9), np.zeros(int(over.sum()))
    return _Life(*(np.concatenate(x) for x in zip(*rows, strict=True)))


def _needs(told: _Told, lives: _Life, week: int) -> SensorNeeds:
    """Chances on the first day of a week, given what has happened up to then."""
    today = 7 * week
    now = (lives.begins <= today) & (lives.ends >= today)
    place = lives.place[now]
    v, ran = told.km_per_day[place], today - lives.begins[now]
    age = (lives.age_km[now] + v * ran)[:, None, None]
    days = np.array(schemas.NEED_DAYS, dtype=float)
    shape, scale = told.shape[place][:, :, None], told.scale_km[place][:, :, None]
    ahead = age + v[:, None, None] * days
    need = -np.expm1((age / scale) ** shape - (ahead / scale) ** shape)
    planned = lives.planned[now][:, None, None] - today
    known = planned <= _PLANNED_DAYS
    need = np.where(known & (days >= planned), 1.0, need)
    cell = told.cell[place]
    rows = pd.DataFrame(
        {
            "sensor_id": [str(i) for i in place],
            "unit_id": "",
            "shop_id": np.array(SHOPS, object)[cell // len(PARTS)],
            "part_no": np.array([p.part_no for p in PARTS], object)[cell % len(PARTS)],
        }
    )
    return SensorNeeds(rows, days, need, schemas.LEFT_OUT.empty())


def _first_visits(
    rng: np.random.Generator, cells: pd.DataFrame, per_day: np.ndarray
) -> pd.DataFrame:
    days = 3 * 365.25
    asked = rng.poisson(per_day * days)
    rows = cells[["shop_id", "part_no"]].assign(
        days=days, n_visits=asked + rng.poisson(3 * per_day * days), n_asked=asked
    )
    return walk_in_rates(schemas.FIRST_VISITS.check(rows))
