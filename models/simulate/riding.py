"""Bikes and how they are ridden: one row a bike, and its true odometer on every day."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

import numpy as np

from models.simulate.world import DUTIES, FIRST_DAY, FRAILTY_SHAPE, GROUPS, LAST_DAY, Group

WEEK_SPREAD = 0.35  # log spread of a bike's km from week to week (assumed)
FLEET_NEW = 0.55  # share of fleet bikes bought new within the history (assumed)
PRIVATE_KNOWN = 0.62  # share of private owners who know their bike's past (assumed)
YEAR_DAYS = 365.25


@dataclass(frozen=True)
class Bike:
    """One bike: who rides it how, when it is seen, and its true odometer by day.

    first_day, last_day : first visit and last day in view, days since the history's first.
    in_service_day : may lie before the history. odometer_km : shape (days,), true km at day's end.
    gone : how it leaves view (``retired``, ``lost``) or None. past_known : whether the owner
    knows that the first sensor is the original one.
    """

    unit_id: str
    number: int
    group: Group
    duty: str
    model_code: str
    in_service_day: int
    first_day: int
    last_day: int
    gone: str | None
    past_known: bool
    frailty: float
    km_per_day: float
    odometer_km: np.ndarray

    def km_on(self, day: int) -> int:
        """Whole km on the clock at the end of a day."""
        return int(self.odometer_km[day])

    def stand_from(self, day: int) -> None:
        """Not ridden after a day: it waits in the shop until the history ends."""
        self.odometer_km[day:] = self.odometer_km[day]

    def day_at(self, odometer_km: float) -> int:
        """First day on which the odometer has reached a figure; past the last day if never."""
        return int(np.searchsorted(self.odometer_km, odometer_km))


def date_of(day: int) -> dt.date:
    """Calendar date of a day of the history."""
    return FIRST_DAY + dt.timedelta(days=int(day))


def day_of(date: dt.date) -> int:
    """Day of the history of a calendar date."""
    return (date - FIRST_DAY).days


def bikes(rng: np.random.Generator, n_bikes: int) -> list[Bike]:
    """Draw the bikes of all groups, in order of unit_id."""
    if n_bikes < 1:
        raise ValueError(f"n_bikes must be at least 1, not {n_bikes}")
    shares = np.array([group.share for group in GROUPS])
    edges = np.round(np.cumsum(shares) / shares.sum() * n_bikes).astype(int)
    of_group = np.searchsorted(edges, np.arange(n_bikes), side="right")
    width = max(3, len(str(n_bikes)))
    return [_bike(rng, k, f"U-{k + 1:0{width}d}", GROUPS[g]) for k, g in enumerate(of_group)]


def _bike(rng: np.random.Generator, number: int, unit_id: str, group: Group) -> Bike:
    duty = _pick(rng, group.duties)
    rate = DUTIES[duty].km_per_day * float(np.exp(DUTIES[duty].km_spread * rng.standard_normal()))
    first_day, start_km = _entry(rng, group, rate)
    odometer = _odometer(rng, duty, rate, first_day, start_km)
    last_day, gone = _exit(rng, group, first_day, odometer)
    return Bike(
        unit_id=unit_id,
        number=number,
        group=group,
        duty=duty,
        model_code=_pick(rng, group.models),
        in_service_day=first_day - round(start_km / rate * rng.uniform(0.9, 1.3)),
        first_day=first_day,
        last_day=last_day,
        gone=gone,
        past_known=bool(group.fleet_id or rng.random() < PRIVATE_KNOWN),
        frailty=float(rng.gamma(FRAILTY_SHAPE, 1.0 / FRAILTY_SHAPE)),
        km_per_day=rate,
        odometer_km=odometer,
    )


def _entry(rng: np.random.Generator, group: Group, rate: float) -> tuple[int, float]:
    """Day of the first visit and km on the clock then."""
    if group.fleet_id and rng.random() < FLEET_NEW:
        return int(rng.uniform(0.0, 0.7) * LAST_DAY), float(rng.uniform(20.0, 300.0))
    day = int(rng.uniform(0.0, 0.25 if group.fleet_id else 0.75) * LAST_DAY)
    years = rng.uniform(0.3, 2.0) if group.fleet_id else rng.gamma(2.0, 2.0)
    return day, float(max(150.0, years * YEAR_DAYS * rate))


def _odometer(
    rng: np.random.Generator, duty: str, rate: float, first_day: int, start_km: float
) -> np.ndarray:
    days = np.arange(LAST_DAY + 1)
    summer = 1.0 + DUTIES[duty].season * np.cos(2.0 * np.pi * (days - 196) / YEAR_DAYS)
    week = np.exp(WEEK_SPREAD * rng.standard_normal(LAST_DAY // 7 + 1) - WEEK_SPREAD**2 / 2.0)
    total = np.cumsum(rate * summer * week[days // 7])
    return np.maximum(total - total[first_day] + start_km, 0.0)


def _exit(
    rng: np.random.Generator, group: Group, first_day: int, odometer: np.ndarray
) -> tuple[int, str | None]:
    if group.keeps_km is not None:
        day = int(np.searchsorted(odometer, group.keeps_km * rng.uniform(0.85, 1.15)))
        return (max(day, first_day + 30), "retired") if day < LAST_DAY else (LAST_DAY, None)
    day = first_day + int(rng.exponential(YEAR_DAYS / max(group.lost_per_year, 1e-9)))
    return (day, "lost") if day < LAST_DAY else (LAST_DAY, None)


def _pick(rng: np.random.Generator, weighted: tuple[tuple[str, float], ...]) -> str:
    at = rng.random() * sum(weight for _, weight in weighted)
    for name, weight in weighted:
        at -= weight
        if at < 0.0:
            return name
    return weighted[-1][0]
