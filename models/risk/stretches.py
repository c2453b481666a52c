"""Stretches of age over which the last reading of wear says the same of a life.

A reading is a departure from the fleet's trend at that km, in standard deviations, so that a
sensor is held against its like and not against a new one. It counts from its test on, most while
fresh and, since a stale reading lags behind the wear, by coefficients of its own once it is 4,000
and once it is 10,000 km old. Only tests that found the sensor without the defect count: what a
defective sensor measures says nothing of how it got there.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from sklearn.base import BaseEstimator
from sklearn.linear_model import Ridge
from sklearn.pipeline import make_pipeline
from sklearn.preprocessing import SplineTransformer
from sklearn.utils.validation import check_is_fitted

from models.risk.assumed import READING_SDS

#: Ages of a reading from which it counts by another coefficient, km.
STALE_KM = (4_000.0, 10_000.0)
#: With fewer readings than this there is no trend to depart from, and none counts.
FEWEST_READINGS = 20
#: Added to roughness before its logarithm is taken: about the least that a bench can tell, %.
_FLOOR_PCT = 0.01
#: A departure beyond this counts as this; one beyond ``_HIGH`` counts again from there.
_MOST, _HIGH = 4.0, 1.0
#: Steps in which departures are told apart.
_STEP = 0.25
_MOST_CHECKS = 2
NAMES = ("read", "fresh", "stale", "old", "high", "growth", "checks")


@dataclass(frozen=True)
class Stretches:
    """Stretches of the lives of a frame, in order of life and age.

    ``life`` is the place of the life in the frame, every life having a first stretch from minus
    infinity; ``start_km`` the age at which the stretch begins, the next one's being its end;
    ``columns`` of shape (stretches, len(NAMES)), or (stretches, 0) without a trend.
    """

    life: np.ndarray
    start_km: np.ndarray
    columns: np.ndarray

    @property
    def end_km(self) -> np.ndarray:
        """Age at which each stretch ends; infinity for the last of a life."""
        following = np.append(self.start_km[1:], np.inf)
        last = np.append(self.life[1:] != self.life[:-1], True)
        return np.where(last, np.inf, following)

    def take(self, members: np.ndarray) -> Stretches:
        """Those of some lives, in the order of ``members`` (places in the frame)."""
        first = np.searchsorted(self.life, members)
        count = np.searchsorted(self.life, members, side="right") - first
        life = np.repeat(np.arange(len(members)), count)
        own = first[life] + np.arange(len(life)) - np.repeat(np.cumsum(count) - count, count)
        return Stretches(life, self.start_km[own], self.columns[own])


class WearTrend(BaseEstimator):
    """The fleet's trend of roughness with km, and each reading's departure from it.

    Two measures are averaged where both are given: the logarithm of the grain's size and that of
    its evidence. The trend is a spline of the sensor's age (ridge); the scale is robust, so that a
    few very rough sensors do not make the others alike.
    """

    def fit(self, readings: pd.DataFrame, y: object = None) -> WearTrend:
        """Fit to readings without the defect: ``read_km``, ``roughness_pct``, ``roughness_z``."""
        self.parts_: list[tuple[object, float]] = []
        km = readings["read_km"].to_numpy(float)
        for values in _measures(readings):
            told = np.isfinite(values) & np.isfinite(km)
            self.parts_.append(_fit_one(km[told], values[told]))
        told = np.isfinite(self._mean(readings))
        self.n_readings_ = int(told.sum())
        spread = self._mean(readings)[told]
        self.scale_ = _robust_sd(spread) if self.n_readings_ >= FEWEST_READINGS else 1.0
        return self

    def departures(self, readings: pd.DataFrame) -> np.ndarray:
        """Departure of each reading from the trend, standard deviations; NaN where it tells none.

        All NaN where fewer than ``FEWEST_READINGS`` were fitted.
        """
        check_is_fitted(self)
        if self.n_readings_ < FEWEST_READINGS:
            return np.full(len(readings), np.nan)
        level = self._mean(readings) / self.scale_
        return np.clip(np.round(level / _STEP) * _STEP, -_MOST, _MOST)

    def _mean(self, readings: pd.DataFrame) -> np.ndarray:
        km = readings["read_km"].to_numpy(float)
        total, count = np.zeros(len(km)), np.zeros(len(km))
        for values, (trend, scale) in zip(_measures(readings), self.parts_, strict=True):
            told = np.isfinite(values) & np.isfinite(km) & (trend is not None)
            if told.any():
                total[told] += (values[told] - trend.predict(km[told, None])) / scale
            count += told
        return np.where(count > 0, total / np.maximum(count, 1), np.nan)


def _measures(readings: pd.DataFrame) -> tuple[np.ndarray, np.ndarray]:
    size = readings["roughness_pct"].astype("float64").to_numpy()
    evidence = readings["roughness_z"].astype("float64").to_numpy()
    return np.log(np.maximum(size, 0.0) + _FLOOR_PCT), np.log(np.maximum(evidence, 1.0))


def _fit_one(km: np.ndarray, values: np.ndarray) -> tuple[object, float]:
    if len(values) < FEWEST_READINGS or np.ptp(km) == 0:
        return None, 1.0
    spline = SplineTransformer(n_knots=4, degree=2, extrapolation="constant", knots="quantile")
    trend = make_pipeline(spline, Ridge(alpha=1.0)).fit(km[:, None], values)
    return trend, _robust_sd(values - trend.predict(km[:, None]))


def _robust_sd(values: np.ndarray) -> float:
    """Standard deviation by the middle half, which a few wild values do not move."""
    low, high = np.quantile(values, [0.25, 0.75])
    return float(max((high - low) / 1.349, 1e-6))


def counted(readings: pd.DataFrame) -> pd.DataFrame:
    """Readings that count: of tests that found the sensor without the defect."""
    return readings[readings["passed"].astype("boolean").fillna(False).astype(bool)]


def plain_stretches(lives: int) -> Stretches:
    """One stretch a life, without columns."""
    return Stretches(np.arange(lives), np.full(lives, -np.inf), np.zeros((lives, 0)))


def stretches_of(
    lives: pd.DataFrame, readings: pd.DataFrame | None, trend: WearTrend | None
) -> Stretches:
    """Cut each life at its readings and where these grow stale.

    Parameters
    ----------
    lives : frame of shape (n, ...)
        ``life_id`` and ``good_km``: readings up to the last good test count, later ones may
        already be of a defective sensor. The same life may stand in several rows.
    readings : frame, optional
        Columns of ``WEAR_READINGS``.
    trend : WearTrend, optional
        Fitted; without it, or without readings, no reading counts.
    """
    if trend is None:
        return plain_stretches(len(lives))
    if readings is None:
        return Stretches(
            np.arange(len(lives)), np.full(len(lives), -np.inf), np.zeros((len(lives), len(NAMES)))
        )
    tests = _tests_of(lives, readings, trend)
    cuts = _with_stale_cuts(tests)
    first = pd.DataFrame({"life": np.arange(len(lives)), "start_km": -np.inf})
    table = pd.concat([first, cuts], ignore_index=True).sort_values(
        ["life", "start_km"], kind="stable"
    )
    columns = table[list(NAMES)].fillna(0.0).to_numpy(float) * READING_SDS
    return Stretches(table["life"].to_numpy(), table["start_km"].to_numpy(float), columns)


def last_departures(
    lives: pd.DataFrame, readings: pd.DataFrame | None, trend: WearTrend | None
) -> np.ndarray:
    """Departure that each life's last telling reading shows, standard deviations; NaN if none."""
    result = np.full(len(lives), np.nan)
    if trend is not None and readings is not None:
        last = _tests_of(lives, readings, trend).groupby("life")["level"].last()
        result[last.index.to_numpy()] = last.to_numpy(float)
    return result


def _tests_of(lives: pd.DataFrame, readings: pd.DataFrame | None, trend: WearTrend) -> pd.DataFrame:
    """Good tests of each life in order, with what is then known: level, growth, checks."""
    if readings is None:
        readings = pd.DataFrame(columns=["life_id", "read_km", "checks_out_of_band", "passed"])
    some = counted(readings)
    some = some.assign(level=trend.departures(some) if len(some) else np.nan)
    place = pd.DataFrame(
        {
            "life_id": lives["life_id"].to_numpy(),
            "life": np.arange(len(lives)),
            "good_km": lives["good_km"].to_numpy(float),
        }
    )
    tests = place.merge(some, on="life_id").sort_values(["life", "read_km"], kind="stable")
    tests = tests[tests["read_km"] <= tests["good_km"]].reset_index(drop=True)
    tests["told_km"] = tests["read_km"].where(tests["level"].notna())
    by_life = tests["life"]
    told = tests["level"].notna()
    total = tests["level"].fillna(0.0).groupby(by_life).cumsum() - tests["level"].fillna(0.0)
    earlier = told.groupby(by_life).cumsum() - told
    before = total / earlier.where(earlier > 0)
    tests["growth"] = np.clip(np.round((tests["level"] - before) / _STEP) * _STEP, -_MOST, _MOST)
    tests["growth"] = tests["growth"].fillna(0.0).where(told)
    for name in ("level", "told_km", "growth"):
        tests[name] = tests.groupby("life")[name].ffill()
    return tests


def _with_stale_cuts(tests: pd.DataFrame) -> pd.DataFrame:
    """One row at each test and wherever the last telling reading grows stale before the next."""
    ends = tests.groupby("life", sort=False)["read_km"].shift(-1).fillna(np.inf)
    rows = [tests.assign(start_km=tests["read_km"])]
    for cut in STALE_KM:
        at = tests["told_km"] + cut
        inside = (at > tests["read_km"]) & (at < ends)
        rows.append(tests[inside].assign(start_km=at[inside]))
    table = pd.concat(rows, ignore_index=True)
    stale = np.digitize(table["start_km"] - table["told_km"], STALE_KM)
    level, told = table["level"].astype(float), table["told_km"].notna()
    table["read"] = told.astype(float)
    for k, name in enumerate(("fresh", "stale", "old")):
        table[name] = np.where(told & (stale == k), level, 0.0)
    table["high"] = np.where(told, np.maximum(level - _HIGH, 0.0), 0.0)
    table["checks"] = table["checks_out_of_band"].astype("float64").clip(upper=_MOST_CHECKS)
    return table[["life", "start_km", *NAMES]]
