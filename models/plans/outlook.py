"""The outlook of all sensors as arrays, read once and then planned with again and again."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from typing import NamedTuple

import numpy as np
import pandas as pd

from models.plans.belief import Test
from models.plans.course import Course, courses
from models.plans.new_life import AGES_KM
from models.plans.policy import KM_AHEAD
from models.plans.schemas import PLAN_RATES, PLAN_SENSORS
from models.risk.outlook import OUTLOOK_DAYS

#: Points of the grid of chances of a defect at which the many sensors in service are weighed.
_BELIEFS = 13


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
        return courses(belief, onset, self.test, self.heard_per_km, KM_AHEAD, _BELIEFS)


def outlook_from(
    sensors: pd.DataFrame,
    by_km: pd.DataFrame,
    by_day: pd.DataFrame,
    curve: pd.DataFrame,
    rates: pd.DataFrame,
) -> Outlook:
    """Lay the frames out as arrays.

    Parameters
    ----------
    sensors : frame of shape (n, ...)
        PLAN_SENSORS.
    by_km, by_day, curve : frame
        DEFECT_BY_KM, DEFECT_BY_DAY and NEW_LIFE_CURVE of ``models.risk.outlook``, in the order of
        their grain.
    rates : frame of one row
        PLAN_RATES.
    """
    ids = PLAN_SENSORS.check(sensors)["sensor_id"]
    km = np.unique(by_km["km"].to_numpy(float))
    laid = None
    if len(by_day):
        days, fits = np.unique(by_day["days"].to_numpy(int)), int(by_day["draw"].max()) + 1
        shape = (fits, len(days))
        laid = ByDay(days, *(_laid_out(ids, by_day, name, shape) for name in ("defect", "heard")))
    ahead = ByKm(km, _laid_out(ids, by_km, "defect", (len(km),)))
    return outlook_of(sensors, ahead, laid, curve, rates)


class ByKm(NamedTuple):
    """Chance of a ``defect`` by each of these ``km`` ahead, shape (n, km); blank if not known."""

    km: np.ndarray
    defect: np.ndarray


class ByDay(NamedTuple):
    """Chance of a ``defect``, and that it is ``heard`` of, by each of these ``days`` ahead.

    Of shape (n, fits, days), blank where not known.
    """

    days: np.ndarray
    defect: np.ndarray
    heard: np.ndarray


def outlook_of(
    sensors: pd.DataFrame,
    by_km: ByKm,
    by_day: ByDay | None,
    curve: pd.DataFrame,
    rates: pd.DataFrame,
) -> Outlook:
    """The outlook from chances laid out by sensor; parameters else as of ``outlook_from``."""
    (rate,) = PLAN_RATES.check(rates).to_dict("records")
    sensors = PLAN_SENSORS.check(sensors).reset_index(drop=True)
    onset = np.full((len(sensors), len(KM_AHEAD) - 1), np.nan)
    if len(by_km.km):
        onset = _steps(*by_km)
    if by_day is None:
        nothing = np.full((len(sensors), 1, len(OUTLOOK_DAYS)), np.nan)
        by_day = ByDay(np.array(OUTLOOK_DAYS), nothing, nothing)
    new_hazard = np.full(len(AGES_KM), np.nan)
    if len(curve):
        new_hazard = np.interp(AGES_KM, curve["age_km"], curve["cumulative_hazard"])
    return Outlook(
        sensors,
        onset,
        new_hazard,
        *by_day,
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


def _laid_out(ids: pd.Series, frame: pd.DataFrame, name: str, shape: tuple[int, ...]) -> np.ndarray:
    """A column as an array, sensor by sensor; blank for sensors that have no row."""
    size = int(np.prod(shape))
    if not len(frame):
        return np.full((len(ids), *shape), np.nan)
    values = frame[name].to_numpy(float).reshape(-1, *shape)
    told = pd.Index(frame["sensor_id"].iloc[::size])
    return np.concatenate([values, np.full((1, *shape), np.nan)])[told.get_indexer(pd.Index(ids))]


def _steps(km: np.ndarray, defect: np.ndarray) -> np.ndarray:
    """Chance of the defect within each step, the cumulative hazard drawn straight between."""
    hazard = -np.log1p(-np.clip(defect, 0.0, 1 - 1e-9))
    low = np.clip(np.searchsorted(km, KM_AHEAD, side="right") - 1, 0, len(km) - 2)
    share = (KM_AHEAD - km[low]) / np.diff(km)[low]
    at = hazard[:, low] * (1 - share) + hazard[:, low + 1] * share
    return -np.expm1(-np.diff(at, axis=1))
