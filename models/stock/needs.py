"""Chances that each sensor asks for a new part, as arrays over draws and days ahead."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from models.stock.schemas import LEFT_OUT, NEED_DAYS, PART_NEED

#: Sensors whose chances are drawn at a time, so that what is worked out on the way stays small.
_AT_ONCE = 2_000
_WHO = ["sensor_id", "unit_id", "shop_id", "part_no"]


class NeedError(ValueError):
    """Chances of a need that cannot be so; the message names sensor, draw and horizon."""


@dataclass(frozen=True)
class SensorNeeds:
    """Sensors in service and their chances.

    Attributes
    ----------
    sensors : frame of shape (n, 4)
        ``sensor_id``, ``unit_id``, ``shop_id``, ``part_no``.
    days : array of shape (d,)
        Horizons, rising.
    chances : array of shape (n, draws, d)
        Chance of a need by then: of the fits drawn, or of the estimate alone where none is.
    left_out : frame
        LEFT_OUT: sensors without a chance.
    """

    sensors: pd.DataFrame
    days: np.ndarray
    chances: np.ndarray
    left_out: pd.DataFrame

    def by_days(self, days: np.ndarray, draws: slice = slice(None)) -> np.ndarray:
        """Chances within each sensor's own days ahead, shape (n, draws, k).

        Straight between the horizons and from none today; beyond the last horizon the sensor goes
        on asking at the mean rate up to there, 1 - (1 - p)^(t / last).

        Parameters
        ----------
        days : array of shape (n, k) or (k,)
            Days ahead, 0 or more.
        draws : slice
            Which draws.
        """
        days = np.broadcast_to(np.asarray(days, float), (len(self.sensors), np.shape(days)[-1]))
        known = self.chances[:, draws]
        chance = np.empty((*known.shape[:2], days.shape[1]))
        for start in range(0, len(known), _AT_ONCE):
            some = slice(start, start + _AT_ONCE)
            chance[some] = self._by_days(days[some], known[some])
        return chance

    def _by_days(self, days: np.ndarray, known: np.ndarray) -> np.ndarray:
        grid = np.concatenate([[0.0], self.days])
        cell = np.clip(np.searchsorted(grid, days, side="right") - 1, 0, len(grid) - 2)
        part = np.minimum((days - grid[cell]) / np.diff(grid)[cell], 1.0)[:, None]
        index = np.broadcast_to(cell[:, None], (len(known), known.shape[1], days.shape[1]))
        upper = np.take_along_axis(known, index, axis=-1)
        lower = np.where(
            index > 0, np.take_along_axis(known, np.maximum(index - 1, 0), axis=-1), 0.0
        )
        chance = lower + (upper - lower) * part
        late = np.maximum(days / grid[-1], 1.0)[:, None]
        if np.any(late > 1):
            chance = np.where(late > 1, 1 - (1 - chance) ** late, chance)
        return chance

    def of(self, rows: np.ndarray) -> SensorNeeds:
        """Those of some sensors."""
        return replace(self, sensors=self.sensors.iloc[rows], chances=self.chances[rows])

    def moved_from(self, other: SensorNeeds) -> np.ndarray:
        """Places of the sensors with another chance than in ``other``, whose sensors are the same.

        Chances of other horizons or draws are all others.
        """
        if self.chances.shape != other.chances.shape or np.any(self.days != other.days):
            return np.arange(len(self.chances))
        return np.flatnonzero((self.chances != other.chances).any(axis=(1, 2)))


def sensor_needs(part_need: pd.DataFrame) -> SensorNeeds:
    """Chances as arrays; sensors without a chance by the last horizon are left out and named.

    Parameters
    ----------
    part_need : frame
        PART_NEED. The fits drawn (draws from 1 on) count equally; without any the estimate does.

    Raises
    ------
    FrameError
        It does not fit its schema.
    NeedError
        A chance outside 0 to 1, one that falls with the days, or a row that lacks or is double.
    """
    rows = PART_NEED.check(part_need)
    drawn = rows["draw"].to_numpy() > 0
    rows = rows[drawn] if drawn.any() else rows
    number, sensor_ids = pd.factorize(rows["sensor_id"])
    draw, draws = pd.factorize(rows["draw"], sort=True)
    day, days = pd.factorize(rows["days"], sort=True)
    if not len(rows):  # no sensor, yet bikes never seen before may ask
        draws, days = np.zeros(1, dtype=int), np.array(NEED_DAYS)
    shape = (len(sensor_ids), len(draws), len(days))
    if len(rows) != np.prod(shape):
        raise NeedError(
            f"part_need: {len(rows)} rows, expected one for each of {shape[0]} sensors, "
            f"{shape[1]} draws and {shape[2]} horizons"
        )
    chances = np.full(shape, np.inf)
    chances[number, draw, day] = rows["need"].to_numpy(float)
    first = np.unique(number, return_index=True)[1]
    known = ~np.isnan(chances[..., -1]).any(axis=1)
    who = rows.iloc[first][_WHO]
    return _needs(who, np.asarray(days), np.asarray(draws), known, chances[known])


def needs_laid_out(
    sensors: pd.DataFrame, days: np.ndarray, parts: Iterable[np.ndarray]
) -> SensorNeeds:
    """The same from chances that are arrays already.

    Parameters
    ----------
    sensors : frame of shape (n, ...)
        With ``sensor_id``, ``unit_id``, ``shop_id`` and ``part_no``.
    days : array of shape (d,)
        Horizons, rising.
    parts : iterable of arrays of shape (some, fits, d)
        Of some sensors after others, n in all and at least one array: chances by the estimate and
        then by the fits drawn; blank where not known.

    Raises
    ------
    NeedError
        A chance outside 0 to 1, or one that falls with the days.
    """
    known, chances = np.zeros(len(sensors), dtype=bool), np.zeros((0, 1, len(days)))
    start, kept = 0, 0
    for part in parts:
        drawn = part[:, 1:] if part.shape[1] > 1 else part
        if not start:
            chances = np.empty((len(sensors), *drawn.shape[1:]))
        told = ~np.isnan(drawn[..., -1]).any(axis=1)
        end = kept + int(told.sum())
        chances[kept:end] = drawn[told]
        known[start : start + len(part)] = told
        start, kept = start + len(part), end
    draws = np.arange(chances.shape[1]) + (1 if chances.shape[1] > 1 else 0)
    return _needs(sensors[_WHO], days, draws, known, chances[:kept])


def _needs(
    sensors: pd.DataFrame,
    days: np.ndarray,
    draws: np.ndarray,
    known: np.ndarray,
    chances: np.ndarray,
) -> SensorNeeds:
    """From the chances of the ``known`` sensors alone, which are changed in place."""
    own = sensors[known].reset_index(drop=True)
    for start in range(0, len(chances), _AT_ONCE):
        some = chances[start : start + _AT_ONCE]
        # where only planned work is known of, nothing else counts before it
        some[np.isnan(some)] = 0.0
        _refuse(own["sensor_id"].iloc[start : start + _AT_ONCE], some, draws, days)
    left_out = LEFT_OUT.check(sensors[~known].reset_index(drop=True))
    return SensorNeeds(own, days.astype(float), chances, left_out)


def _refuse(
    sensor_ids: pd.Series, chances: np.ndarray, draws: np.ndarray, days: np.ndarray
) -> None:
    for wrong, expected in (
        (~((chances >= 0) & (chances <= 1)), "a chance from 0 to 1, once"),
        (np.diff(chances, axis=-1, prepend=0.0) < -1e-9, "a chance that does not fall with days"),
    ):
        if wrong.any():
            n, k, d = np.argwhere(wrong)[0]
            raise NeedError(
                f"part_need.need: {chances[n, k, d]:g} for sensor {sensor_ids.iloc[n]}, "
                f"draw {draws[k]}, {days[d]} days, expected {expected}"
            )
