"""The outlook of all sensors as arrays, read once and then planned with again and again."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
import pandas as pd

from models.plans.belief import Test
from models.plans.course import Course, courses
from models.plans.new_life import AGES_KM
from models.plans.policy import KM_AHEAD
from models.plans.schemas import PLAN_RATES, PLAN_SENSORS
from models.risk.outlook import OUTLOOK_DAYS

#: Points of the grid of chances of a defect at which the many sensors in service are weighed.
BELIEFS = 13
Columns = Mapping[str, np.ndarray]


@dataclass(frozen=True)
class Outlook:
    """All that the plans rest on.

    ``sensors`` PLAN_SENSORS of shape (n, ...); ``onset`` chance that a sound sensor gets the
    defect within each step of ``KM_AHEAD``, shape (n, steps), blank where not known;
    ``new_hazard`` common cumulative hazard at ``AGES_KM``; ``days``, and ``defect`` and ``heard``
    by them, shape (n, fits, days), blank where not known.
    """

    sensors: pd.DataFrame
    onset: np.ndarray
    new_hazard: np.ndarray
    days: np.ndarray
    defect: np.ndarray
    heard: np.ndarray
    heard_per_km: float
    road_share: float
    test: Test

    @cached_property
    def known(self) -> np.ndarray:
        """Places of the sensors whose chances and km a day are known."""
        told = ~np.isnan(self.onset).any(axis=1)
        numbers = self.sensors[["defect_now", "km_per_day", "new_hazard_ratio"]]
        return np.flatnonzero(told & numbers.notna().all(axis=1).to_numpy())

    @cached_property
    def courses(self) -> tuple[Course, ...]:
        """What becomes of these, in their order, whatever it costs; kept for the next weighing."""
        belief = self.sensors["defect_now"].to_numpy(float)[self.known]
        onset = self.onset[self.known]
        return courses(belief, onset, self.test, self.heard_per_km, KM_AHEAD, BELIEFS)


def outlook_of(
    sensors: pd.DataFrame,
    by_km: Columns,
    by_day: Columns,
    curve: pd.DataFrame,
    rates: pd.DataFrame,
) -> Outlook:
    """Lay what is known of each sensor out as arrays.

    Parameters
    ----------
    sensors : frame of shape (n, ...)
        PLAN_SENSORS.
    by_km, by_day : mapping of str to array
        Columns of DEFECT_BY_KM and DEFECT_BY_DAY of ``models.risk.outlook`` in any order, with
        ``place``, the sensor's among ``sensors``, for its name; blanks masked or as NaN.
    curve : frame
        NEW_LIFE_CURVE of ``models.risk.outlook``.
    rates : frame of one row
        PLAN_RATES.
    """
    (rate,) = PLAN_RATES.check(rates).to_dict("records")
    sensors = PLAN_SENSORS.check(sensors).reset_index(drop=True)
    (km,), (ahead,) = _laid_out(len(sensors), by_km, ("km",), ("defect",))
    onset = np.full((len(sensors), len(KM_AHEAD) - 1), np.nan)
    if len(km):
        onset = _steps(km.astype(float), ahead)
    axes, names = ("draw", "days"), ("defect", "heard")
    (fits, days), (defect, heard) = _laid_out(len(sensors), by_day, axes, names)
    if not len(fits):
        days = np.array(OUTLOOK_DAYS)
        defect = heard = np.full((len(sensors), 1, len(days)), np.nan)
    new_hazard = np.full(len(AGES_KM), np.nan)
    if len(curve):
        new_hazard = np.interp(AGES_KM, curve["age_km"], curve["cumulative_hazard"])
    return Outlook(
        sensors,
        onset,
        new_hazard,
        days.astype(int),
        defect,
        heard,
        rate["heard_per_km"],
        rate["road_share"],
        Test(rate["sensitivity"], rate["false_alarm"]),
    )


def under_fit(
    outlook: Outlook, sensor_ids: np.ndarray, km: np.ndarray, chances: np.ndarray, rate: float
) -> Outlook:
    """The outlook were one fit of the parameters true.

    How a sensor fitted new wears, and by what share of failures on the road, stays as estimated.

    Parameters
    ----------
    outlook : Outlook
        By the estimate.
    sensor_ids : array of shape (m,)
        Sensors whose chances are known.
    km : array of shape (k,)
        Distances ahead, rising from 0.
    chances : array of shape (m, k)
        Chance of a defect by each under the fit.
    rate : float
        Rate per km at which a defect is heard of under the fit.
    """
    place = pd.Index(sensor_ids).get_indexer(pd.Index(outlook.sensors["sensor_id"]))
    every = np.concatenate([chances, np.full((1, len(km)), np.nan)])[place]
    sensors = outlook.sensors.assign(defect_now=every[:, 0])
    return replace(outlook, sensors=sensors, onset=_steps(km, every), heard_per_km=rate)


def _laid_out(
    many: int, rows: Columns, axes: tuple[str, ...], names: tuple[str, ...]
) -> tuple[list[np.ndarray], list[np.ndarray]]:
    """Each axis's own values, and columns of shape (sensors, axes ...), blank if none is told."""
    place = np.array(rows["place"], dtype=np.intp)
    found = []
    for axis in axes:
        own = np.sort(pd.unique(rows[axis]))  # few among a million: sorted after that
        place *= len(own)
        place += np.searchsorted(own, rows[axis])
        found.append(own)
    shape = (many, *map(len, found))
    columns = []
    for name in names:
        column = np.full(int(np.prod(shape)), np.nan)
        column[place] = np.ma.filled(np.asanyarray(rows[name], dtype=float), np.nan)
        columns.append(column.reshape(shape))
    return found, columns


def _steps(km: np.ndarray, defect: np.ndarray) -> np.ndarray:
    """Chance of the defect within each step, the cumulative hazard drawn straight between."""
    hazard = -np.log1p(-np.clip(defect, 0.0, 1 - 1e-9))
    low = np.clip(np.searchsorted(km, KM_AHEAD, side="right") - 1, 0, len(km) - 2)
    share = (KM_AHEAD - km[low]) / np.diff(km)[low]
    at = hazard[:, low] * (1 - share) + hazard[:, low + 1] * share
    return -np.expm1(-np.diff(at, axis=1))
