"""The outlook of all sensors as arrays, read once and then planned with again and again."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from models.plans.belief import Test
from models.plans.course import Course, courses
from models.plans.new_life import AGES_KM
from models.plans.policy import KM_AHEAD
from models.plans.schemas import PLAN_RATES, PLAN_SENSORS
from models.risk.outlook import OUTLOOK_DAYS, DefectsAhead

#: Points of the grid of chances of a defect at which the many sensors in service are weighed.
BELIEFS = 13
#: Sensors whose chances are laid out at a time, for the memory.
_AT_ONCE = 4_000
Columns = Mapping[str, np.ndarray]


@dataclass(frozen=True)
class Outlook:
    """All that the plans rest on.

    ``sensors`` PLAN_SENSORS of shape (n, ...); ``onset`` chance that a sound sensor gets the
    defect within each step of ``KM_AHEAD``, shape (n, steps), blank where not known;
    ``new_hazard`` common cumulative hazard at ``AGES_KM``; ``days``, and ``defect`` and ``heard``
    by them, shape (rows, fits, days), blank where not known. ``row`` is each sensor's row of these
    two, -1 where it has none; by default they stand in the order of the sensors.
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
    row: np.ndarray | None = None

    def of(self, places: slice | np.ndarray) -> Outlook:
        """That of some sensors, theirs alone and in their order."""
        defect, heard = self.by_days(places)
        return replace(
            self,
            sensors=self.sensors.iloc[places].reset_index(drop=True),
            onset=self.onset[places],
            defect=defect,
            heard=heard,
            row=None,
        )

    def by_days(
        self, places: slice | np.ndarray, fits: slice | int = slice(None)
    ) -> tuple[np.ndarray, np.ndarray]:
        """``defect`` and ``heard`` of some sensors, each of shape (some, fits, days).

        In double precision, in which they are worked with, however they lie.
        """
        own = places if self.row is None else self.row[places]
        defect = self.defect[own, fits].astype(float)
        heard = self.heard[own, fits].astype(float)
        if self.row is not None and (own < 0).any():
            defect[own < 0] = heard[own < 0] = np.nan
        return defect, heard

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
    return Outlook(
        sensors, onset, _of_new(curve), days.astype(int), defect, heard, **_of_all(rates)
    )


def outlook_ahead(
    sensors: pd.DataFrame, ahead: DefectsAhead, curve: pd.DataFrame, rates: pd.DataFrame
) -> Outlook:
    """The same from chances that are arrays already, those by date taken over as they lie.

    Parameters
    ----------
    sensors, curve, rates : frame
        As of ``outlook_of``.
    ahead : DefectsAhead
        Chances of sensors in any order.
    """
    sensors = PLAN_SENSORS.check(sensors).reset_index(drop=True)
    by_day = ahead.by_day
    onset = np.full((len(sensors), len(KM_AHEAD) - 1), np.nan)
    row = row_by_sensor(sensors, ahead.sensor_ids)
    told = np.flatnonzero(row >= 0)
    for start in range(0, len(told), _AT_ONCE):
        some = told[start : start + _AT_ONCE]
        onset[some] = _steps(ahead.km, ahead.drawn[0, row[some]].astype(float))
    defect, heard = by_day.defect, by_day.heard
    if not len(by_day.sensor_ids):  # a row that nobody has
        defect = heard = np.full((1, 1, len(by_day.days)), np.nan)
    return Outlook(
        sensors,
        onset,
        _of_new(curve),
        by_day.days.astype(int),
        defect,
        heard,
        **_of_all(rates),
        row=row_by_sensor(sensors, by_day.sensor_ids),
    )


def row_by_sensor(sensors: pd.DataFrame, sensor_ids: ArrayLike) -> np.ndarray:
    """Where each of the sensors stands among those named; -1 where it does not."""
    return pd.Index(sensor_ids, dtype="str").get_indexer(pd.Index(sensors["sensor_id"]))


def _of_new(curve: pd.DataFrame) -> np.ndarray:
    """Common cumulative hazard of a sensor fitted new at ``AGES_KM``, blank where not known."""
    if not len(curve):
        return np.full(len(AGES_KM), np.nan)
    return np.interp(AGES_KM, curve["age_km"], curve["cumulative_hazard"])


def _of_all(rates: pd.DataFrame) -> dict[str, Any]:
    (rate,) = PLAN_RATES.check(rates).to_dict("records")
    test = Test(rate["sensitivity"], rate["false_alarm"])
    return {"heard_per_km": rate["heard_per_km"], "road_share": rate["road_share"], "test": test}


def under_fit(outlook: Outlook, km: np.ndarray, chances: np.ndarray, rate: float) -> Outlook:
    """The outlook were one fit of the parameters true.

    How a sensor fitted new wears, and by what share of failures on the road, stays as estimated.

    Parameters
    ----------
    outlook : Outlook
        Of n sensors, by the estimate.
    km : array of shape (k,)
        Distances ahead, rising from 0.
    chances : array of shape (n, k)
        Chance of a defect by each under the fit, blank where not known.
    rate : float
        Rate per km at which a defect is heard of under the fit.
    """
    sensors = outlook.sensors.assign(defect_now=chances[:, 0])
    return replace(outlook, sensors=sensors, onset=_steps(km, chances), heard_per_km=rate)


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
    """Chance of the defect within each step, the cumulative hazard drawn straight between.

    Where it stands still, what is drawn may fall by a last digit; a chance does not.
    """
    hazard = -np.log1p(-np.clip(defect, 0.0, 1 - 1e-9))
    low = np.clip(np.searchsorted(km, KM_AHEAD, side="right") - 1, 0, len(km) - 2)
    share = (KM_AHEAD - km[low]) / np.diff(km)[low]
    at = hazard[:, low] * (1 - share) + hazard[:, low + 1] * share
    return np.maximum(-np.expm1(-np.diff(at, axis=1)), 0.0)
