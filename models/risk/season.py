"""Season of the km a sensor runs: the day on which each km was run, and how cold its time of year.

A life is dated at a few ages (first sight, last good test, finding or last contact, today); between
them its km are taken to be run evenly, before the first and after the last at the bike's km a day.
A stretch of km has as its season the mean over its days of

    cos(2 pi (day of the year - 15) / 365.25),

+1 in mid January, -1 in mid July. Its hazard is multiplied by exp(b x that mean). Over whole years
the mean is about nought, so that a long stretch says nothing of the season and is not moved by it.
The coefficient b is learned from a home's own records: south of the equator it comes out with the
sign turned, where the cold half of the year wears more.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import pandas as pd

_YEAR_DAYS = 365.25
#: The coldest time of the year, 15 January, as an angle from 1970-01-01.
_COLDEST = 2 * np.pi * 14.0 / _YEAR_DAYS
#: Days a km of a stretch whose riding is not known: so many that its season is the year's mean.
_UNKNOWN_PACE = 1e4
#: Ages at which a life may be dated, and their days.
_DATED_LIVES = (("entry_km", "entry_on"), ("good_km", "good_on"), ("end_km", "end_on"))
_DATED_NOW = (("entry_km", "entry_on"), ("good_km", "good_on"), ("age_now_km", "now_on"))


class Calendar(NamedTuple):
    """When each of some lives ran its km.

    ``km`` of shape (n, dates): the dated ages, rising, the last repeated where fewer are known,
    blank where none is. ``start``, ``day`` and ``slope`` of shape (n, dates + 1): before the first
    of them, between two and after the last, an age, its day (from 1970-01-01), and days a km.
    """

    km: np.ndarray
    start: np.ndarray
    day: np.ndarray
    slope: np.ndarray

    @classmethod
    def of(cls, km: np.ndarray, day: np.ndarray, days_per_km: np.ndarray) -> Calendar:
        """From dated ages and their days, and days a km before the first and after the last."""
        pace, ends = days_per_km[:, None], np.diff(km, axis=1)
        between = np.diff(day, axis=1) / np.where(ends > 0, ends, np.inf)
        first = np.hstack([km[:, :1], km]), np.hstack([day[:, :1], day])
        return cls(km, *first, np.hstack([pace, between, pace]))

    def day_at(self, life: np.ndarray, km: np.ndarray) -> np.ndarray:
        """Days on which lives, told by their places, reached some ages; of the shape of ``km``."""
        dates = self.km.shape[1]
        place = life * (dates + 1)
        for k in range(dates):
            place = place + (km > self.km[:, k][life])
        start, day, slope = (values.ravel()[place] for values in (self.start, self.day, self.slope))
        return day + slope * (km - start)

    def season(self, life: np.ndarray, low_km: np.ndarray, high_km: np.ndarray) -> np.ndarray:
        """Mean of the yearly cosine over the days of stretches; nought for undated lives."""
        low, high = self.day_at(life, low_km), self.day_at(life, high_km)
        half = (high - low) * (np.pi / _YEAR_DAYS)
        middle = np.cos((low + high) * (np.pi / _YEAR_DAYS) - _COLDEST)
        mean = middle * np.sin(half) / np.where(half == 0, 1.0, half)
        return np.nan_to_num(np.where(half == 0, middle, mean), nan=0.0)


def calendar_of_lives(lives: pd.DataFrame, km_per_day: float) -> Calendar | None:
    """Of observed lives; None where no date is known.

    Parameters
    ----------
    lives : frame of shape (n, ...)
        Columns of ``LIFE_WINDOWS``.
    km_per_day : float
        Of bikes whose own riding is not known; 0 where that of none is.
    """
    return _calendar(lives, _DATED_LIVES, km_per_day)


def calendar_now(sensors: pd.DataFrame, km_per_day: float) -> Calendar | None:
    """Of sensors in service, columns of ``SENSORS_NOW``; else as ``calendar_of_lives``."""
    return _calendar(sensors, _DATED_NOW, km_per_day)


def by_season(cumulative: np.ndarray, season: np.ndarray, coef: np.ndarray) -> np.ndarray:
    """Cumulative hazards at rising ages, what is added between two of them by its season.

    Parameters
    ----------
    cumulative : array of shape (draws, n, k + 1, m)
        As they would be through the year.
    season : array of shape (n, k)
        Season of each stretch between two ages.
    coef : array of shape (draws,)
        Effect of mid January on the log hazard.
    """
    factor = np.exp(np.multiply.outer(coef, season))
    steps = np.diff(cumulative, axis=2)
    steps *= factor[..., None]
    result = np.empty_like(cumulative)
    result[:, :, :1] = cumulative[:, :, :1]
    np.cumsum(steps, axis=2, out=result[:, :, 1:])
    result[:, :, 1:] += cumulative[:, :, :1]
    return result


def _calendar(
    frame: pd.DataFrame, dated: tuple[tuple[str, str], ...], km_per_day: float
) -> Calendar | None:
    both = [pair for pair in dated if set(pair) <= set(frame.columns)]
    if not both:
        return None
    km = np.column_stack([frame[name].to_numpy(float) for name, _ in both])
    day = np.column_stack([_days(frame[name]) for _, name in both])
    if np.isnan(km + day).all():
        return None
    return Calendar.of(*_in_order(km, day), _days_per_km(frame, km_per_day))


def _days(dates: pd.Series) -> np.ndarray:
    """Days from 1970-01-01, blank for a blank."""
    at = pd.to_datetime(dates).to_numpy(dtype="datetime64[D]")
    return np.where(np.isnat(at), np.nan, at.astype(float))


def _in_order(km: np.ndarray, day: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Dated ages rising, days not falling; the last known stands for those that are not."""
    missing = np.isnan(km) | np.isnan(day)
    order = np.argsort(np.where(missing, np.inf, km), axis=1, kind="stable")
    km, day, missing = (np.take_along_axis(a, order, axis=1) for a in (km, day, missing))
    for k in range(1, km.shape[1]):
        km[:, k] = np.where(missing[:, k], km[:, k - 1], km[:, k])
        day[:, k] = np.where(missing[:, k], day[:, k - 1], np.fmax(day[:, k], day[:, k - 1]))
    undated = missing[:, 0]
    km[undated], day[undated] = np.nan, np.nan
    return km, day


def _days_per_km(frame: pd.DataFrame, km_per_day: float) -> np.ndarray:
    own = np.full(len(frame), np.nan)
    if "km_per_day" in frame.columns:
        own = frame["km_per_day"].to_numpy(float)
    pace = np.where(own > 0, own, km_per_day)
    return np.where(pace > 0, 1.0 / np.where(pace > 0, pace, 1.0), _UNKNOWN_PACE)
