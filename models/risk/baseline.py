"""Columns that describe how the log hazard departs from the assumed curve with sensor age.

Each column is multiplied by the standard deviation expected of its coefficient, so that one ridge
penalty of 1 on all coefficients is the stated normal prior of each.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from sklearn.base import BaseEstimator, TransformerMixin
from sklearn.preprocessing import SplineTransformer
from sklearn.utils.validation import check_is_fitted

from models.risk.assumed import BEND_SD, LEVEL_SD, SLOPE_SD

BASELINES = ("spline", "log_km")
#: Youngest age told apart by the spline, as a share of the oldest; below it the bend stays.
_YOUNGEST = 1 / 30


class BaselineColumns(TransformerMixin, BaseEstimator):
    """A level, a slope in log age and, for ``spline``, bends about that line.

    The bends are a cubic B-spline of log age in its mixed-model form: coefficients are the second
    differences of the B-spline coefficients, so the penalty draws the curve towards a straight line
    in log age, which is a Weibull hazard (Eilers & Marx, Statistical Science 11 (1996) 89;
    Currie & Durban, Statistical Modelling 2 (2002) 333). Beyond the ages seen the slope goes on
    and the bend stays as it was.

    Parameters
    ----------
    baseline : {"spline", "log_km"}
    level_sd, slope_sd, bend_sd : float
        Standard deviations of the coefficients on the log hazard.
    n_knots : int
        Knots of the spline, evenly spaced in log age.
    """

    def __init__(
        self,
        baseline: str = "spline",
        level_sd: float = LEVEL_SD,
        slope_sd: float = SLOPE_SD,
        bend_sd: float = BEND_SD,
        n_knots: int = 8,
    ):
        self.baseline = baseline
        self.level_sd = level_sd
        self.slope_sd = slope_sd
        self.bend_sd = bend_sd
        self.n_knots = n_knots

    def fit(self, age_km: np.ndarray, y: object = None, *, weight: np.ndarray) -> BaselineColumns:
        """Place the middle of the slope and the knots by the ages watched.

        Parameters
        ----------
        age_km : array of shape (n,)
            Ages above 0, in km.
        y : None
            Not used; there by convention.
        weight : array of shape (n,)
            Km watched at each age.
        """
        if self.baseline not in BASELINES:
            raise ValueError(f"baseline is {self.baseline!r}, expected one of {BASELINES}")
        self.middle_ = float(np.average(np.log(age_km), weights=weight))
        if self.baseline == "spline":
            oldest = np.log(age_km[weight > 0].max())
            ends = np.linspace(oldest + np.log(_YOUNGEST), oldest, self.n_knots)
            self.spline_ = SplineTransformer(degree=3, knots=ends[:, None]).fit(ends[:, None])
            difference = np.diff(np.eye(self.spline_.n_features_out_), n=2, axis=0)
            self.bends_ = np.linalg.pinv(difference)
        return self

    def transform(self, age_km: np.ndarray) -> np.ndarray:
        """Columns at each age, shape (n, number of columns)."""
        check_is_fitted(self)
        log_age = np.log(age_km)
        line = [np.full_like(log_age, self.level_sd), self.slope_sd * (log_age - self.middle_)]
        columns = np.column_stack(line)
        if self.baseline == "log_km":
            return columns
        bends = self.spline_.transform(log_age[:, None]) @ self.bends_
        return np.hstack([columns, self.bend_sd * bends])


def middles(edges: np.ndarray) -> np.ndarray:
    """Middle of each cell."""
    return (edges[1:] + edges[:-1]) / 2


def interpolated(edges: np.ndarray, total: np.ndarray, age_km: np.ndarray) -> np.ndarray:
    """Cumulative hazard at ages of any shape, with a leading axis of draws."""
    low = np.clip(np.searchsorted(edges, age_km, side="right") - 1, 0, len(edges) - 2)
    part = (age_km - edges[low]) / np.diff(edges)[low]
    found, above = total[:, low], total[:, low + 1]  # ours alone, and large: worked on in place
    found *= 1 - part
    above *= part
    found += above
    return found


class Curve(NamedTuple):
    """Common cumulative hazard of shape (draws, edges) at ages ``edges``, and effects on it.

    ``of_life`` of shape (draws, columns) are the coefficients of what is known of a life.
    """

    edges: np.ndarray
    total: np.ndarray
    of_life: np.ndarray

    def of(self, columns: np.ndarray, age_km: np.ndarray) -> np.ndarray:
        """Cumulative hazard of lives, shape (n, columns), at ages of shape (n or 1, ...)."""
        # not a product of matrices, whose last digit hangs on how many rows there are
        ratio = np.exp(np.einsum("dc,nc->dn", self.of_life, columns))
        ratio = ratio.reshape(*ratio.shape, *([1] * (age_km.ndim - 1)))
        common = interpolated(self.edges, self.total, age_km)
        if common.shape[1] < ratio.shape[1]:
            return common * ratio
        common *= ratio
        return common
