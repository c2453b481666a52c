"""Wear over travel and age: one smooth surface of the fleet, and how parts and duties depart.

The log of the intensity of drop-outs (or of roughness) is a tensor of B-splines in travel and age
for the fleet, plus a curve over the travel, at a middle age and its change with age, for each part
number and each duty, and a curve over the travel for each pair of them. All coefficients have
normal priors whose widths are learnt, so that small groups are drawn to what holds them; nothing
asks for one hump, and the splines' ends are as free as their middle.
"""

from __future__ import annotations

import copy
from dataclasses import replace

import numpy as np
import pandas as pd
from scipy.stats import gamma
from sklearn.base import BaseEstimator
from sklearn.preprocessing import SplineTransformer
from sklearn.utils.validation import check_is_fitted

from models.wear.by_row import by_row
from models.wear.clusters import count_effect
from models.wear.exposure import BINS, bin_middles
from models.wear.groups import Group, levels_of, one_hot, text
from models.wear.penalised import Cells, Penalty, fit_penalised
from models.wear.records import WearError
from models.wear.strays import Strays, stray_rate
from models.wear.totals import TESTS_AT_ONCE, Totals, gamma_effect

GROUPS = (("part_no",), ("duty",), ("part_no", "duty"))
SENSORS_TRUSTED = 10.0  # the sensors' own spread is drawn to the model's as if by so many more
MOST_CLUSTERS = 1000  # sensors whose scores are squared one by one
# Third differences: a curve falls off to nothing as a bell does, without a hump being asked for.
BEND_ORDER = 3
# Guessed precision of: bends of the fleet's curve with travel, with age; of a group's curve, its
# level, its change with age. Each guess is worth two squared coefficients. Chosen on simulated
# fleets other than those that score them.
GUESSES = (10.0, 8.0, 3.0, 0.12, 50.0)
GUESS_WORTH = 2.0
_SCORES_AT_ONCE = 2_000  # tests, or one sensor's where it has more
_ERRORS_AT_ONCE = 100  # rows: each takes as much memory as a part of the covariance
ERROR_SCALE, ERROR_POWER, MORE = 0.78, 0.4, (0.25, 2.0)


class WearSurface(BaseEstimator):
    """Smooth regression of what travel bins showed on travel, age, part and duty.

    Parameters
    ----------
    family : {"poisson", "gamma"}
        Drop-outs with an exposure, or roughness.
    n_position, n_age : int
        Intervals of the B-splines over 0 to 100 % of travel and over the ages seen.
    groups : tuple of tuple of str
        Which columns' values have departures of their own, from coarse to fine.
    n_cells : int
        Ages are pooled in so many cells for the fit.
    design_effect : float or array of shape (BINS,), optional
        By how much the sensors' own pattern widens the spread against independent drop-outs;
        learnt if None (see Notes).
    max_iter : int
        Most steps of the fit.

    Attributes
    ----------
    fitted_ : Fitted
        Coefficients, penalty weights, Laplace covariance.
    beta_ : array of shape (R, P)
        The coefficients.
    covariance_ : array of shape (columns, columns)
        Sandwich over the sensors.
    design_effect_ : array of shape (BINS,), or float for roughness
    strays_ : Strays
        Drop-outs that are no wear; the surface is that of the others.
    n_sensors_, n_sensors_with_ : int
        Sensors, and those of them with drop-outs (or roughness known).
    base_ : float
        Log of the overall mean, from which all departs.

    Notes
    -----
    The drop-outs of one sensor come from one or two places, so they are no more than a few
    independent sights of where its like wear. Counts and exposure are divided by the design
    effect, the mean number of a sensor's drop-outs that stand about one of them (that of a compound
    Poisson sum; for roughness, dispersion times how alike a sensor's bins are), before the priors'
    widths are learnt; otherwise each sensor's spots would be followed as if they were the fleet's.
    The covariance is J^-1 (M + S) J^-1, with M from the sensors' scores (Huber 1967; Liang & Zeger
    1986), drawn to J - S where few sensors have drop-outs; bands from J^-1 cover well on average
    over the travel (Nychka, JASA 83 (1988) 1134; Marra & Wood, Scand. J. Statist. 39 (2012) 53;
    tensor splines as Marx & Eilers and Wood, Generalized Additive Models, 2017; all from memory).
    """

    def __init__(
        self,
        family: str = "poisson",
        n_position: int = 25,
        n_age: int = 3,
        groups: tuple[tuple[str, ...], ...] = GROUPS,
        n_cells: int = 16,
        design_effect: float | None = None,
        max_iter: int = 60,
    ):
        self.family = family
        self.n_position = n_position
        self.n_age = n_age
        self.groups = groups
        self.n_cells = n_cells
        self.design_effect = design_effect
        self.max_iter = max_iter

    def fit(
        self, X: pd.DataFrame, y: np.ndarray, exposure: np.ndarray | None = None
    ) -> WearSurface:
        """Fit to tests.

        Parameters
        ----------
        X : frame of shape (n, ...)
            ``sensor_id``, ``sensor_age_km`` and the columns named in ``groups``.
        y : array of shape (n, BINS)
            Drop-outs, or roughness with NaN where not known.
        exposure : array of shape (n, BINS), optional
            Passes that would have shown a drop-out; needed for ``poisson``.

        Raises
        ------
        WearError
            Nothing was seen: no exposure, or no roughness known.
        """
        shown = self._shown(y, exposure, pd.factorize(X["sensor_id"])[0])
        age = X["sensor_age_km"].to_numpy(dtype=float)
        self._lay(age, X)
        shown = self._lean(shown)
        cells, number = self._cells(X, age, shown)
        self.fitted_ = fit_penalised(cells, self._penalties(), max_iter=self.max_iter)
        spread = self._spread(cells, number, shown)
        if self.family == "gamma" and self.design_effect is None:
            # how alike a sensor's bins are is known only beside the fitted surface
            wider = float((self.fitted_.covariance * spread).sum() / max(self.fitted_.edf, 1.0))
            self.design_effect_ = self.design_effect_ * max(wider, 1.0)
            cells, number = self._cells(X, age, shown)
            self.fitted_ = fit_penalised(cells, self._penalties(), max_iter=self.max_iter)
            spread = self._spread(cells, number, shown)
        self.covariance_, self.beta_ = self._sandwich(spread), self.fitted_.beta
        return self

    def means_alone(self) -> WearSurface:
        """A copy that answers means but no errors: these take covariances, which are large."""
        bare = copy.copy(self)
        del bare.fitted_, bare.covariance_
        return bare

    def predict(self, X: pd.DataFrame) -> np.ndarray:
        """Mean of each test's part, duty and age in every bin, shape (n, BINS).

        Drop-outs a pass, or roughness. Ages beyond those seen are answered as the oldest seen.
        """
        return np.exp(self.log_mean(X))

    def log_mean(self, X: pd.DataFrame) -> np.ndarray:
        """Log of ``predict``."""
        return np.logaddexp(self.log_wear(X), np.log(max(self.strays_.rate, 1e-300)))

    def predict_wear(self, X: pd.DataFrame) -> np.ndarray:
        """As ``predict``, strays left out."""
        return np.exp(self.log_wear(X))

    def log_wear(self, X: pd.DataFrame) -> np.ndarray:
        """Log of ``predict_wear``."""
        check_is_fitted(self)
        rows = self._rows(X, X["sensor_age_km"].to_numpy(dtype=float))
        return self.base_ + by_row(by_row(rows, self.beta_), self.basis_.T)

    def log_error(self, X: pd.DataFrame) -> np.ndarray:
        """Standard error of ``log_wear``, shape (n, BINS)."""
        check_is_fitted(self, "covariance_")
        rows = self._rows(X, X["sensor_age_km"].to_numpy(dtype=float))
        R, P = self.beta_.shape
        four, out = self.covariance_.reshape(R, P, R, P), np.empty((len(rows), BINS))
        for first in range(0, len(rows), _ERRORS_AT_ONCE):
            part = slice(first, first + _ERRORS_AT_ONCE)
            half = np.einsum("ir,rpsq,is->ipq", rows[part], four, rows[part], optimize=True)
            out[part] = np.einsum("bp,ipq,bq->ib", self.basis_, half, self.basis_, optimize=True)
        return np.sqrt(np.maximum(out, 0.0))

    def predict_interval(
        self, X: pd.DataFrame, level: float = 0.90
    ) -> tuple[np.ndarray, np.ndarray]:
        """Pointwise interval of ``predict``, shapes (n, BINS).

        A bin is taken to be known as a rate is from so many independent drop-outs: a gamma with
        ``MORE`` more of them, where the exact Poisson interval has 0 and 1 (Garwood, Biometrika 28
        (1936) 437, from memory) and Jeffreys' a half. Few sensors have most drop-outs, so where
        none has been seen yet there may be much; hence the higher upper one. How many follows from
        ``log_error``, which is too wide for few sensors, whose curve its priors hold, and too
        narrow for many, since what smoothing does not follow stays. What lies within the limits of
        the strays is not told from them, so there may be no wear there: where there is none the
        truth is the least there can be and the interval holds more often than it says. The
        constants were tuned on simulated fleets of 60 and 200 sensors.
        """
        error, more = np.maximum(self.log_error(X), 1e-3), (0.5, 0.5)
        if self.family == "poisson":
            error, more = ERROR_SCALE * error**ERROR_POWER, MORE
        middle, events = self.predict_wear(X), 1.0 / error**2
        low = gamma.ppf(0.5 - level / 2.0, events + more[0]) / events
        high = gamma.ppf(0.5 + level / 2.0, events + more[1]) / events
        strays = self.strays_.interval(level)
        low = middle * low + strays[0]
        return np.where(low <= strays[1], strays[0], low), middle * high + strays[1]

    def score(self, X: pd.DataFrame, y: np.ndarray, exposure: np.ndarray | None = None) -> float:
        """Log likelihood of independent drop-outs (or unit-dispersion gamma) a test."""
        total, seen = self._shown(y, exposure, np.zeros(len(X), dtype=int)).part(slice(None))
        eta = self.log_mean(X)
        if self.family == "gamma":
            return float(-(seen * eta + total * np.exp(-eta)).sum() / len(X))
        return float((total * eta - seen * np.exp(eta)).sum() / len(X))

    def _shown(self, y: np.ndarray, exposure: np.ndarray | None, sensor: np.ndarray) -> Totals:
        if self.family == "gamma":
            exposure, there = None, np.isfinite(y).any()
        elif exposure is None:
            raise WearError("drop-outs need the exposure of each bin")
        else:
            there = (exposure > 0).any()
        if not there:
            raise WearError("no travel bin of any test could have shown anything")
        return Totals(y, exposure, sensor)

    def _lay(self, age: np.ndarray, X: pd.DataFrame) -> None:
        last = max(float(age.max()), 1.0)
        self.last_km_, self.middle_km_ = last, float(np.median(age))
        self.spread_km_ = max(float(age.std()), 0.05 * last)
        self.edges_ = np.linspace(0.0, last, self.n_cells + 1)
        self.ages_ = _splines(self.n_age, last, 2)
        self.basis_ = _splines(self.n_position, 100.0, 3).transform(bin_middles()[:, None])
        at = self.ages_.n_features_out_
        self.groups_ = []
        for keys in self.groups:
            levels = levels_of(X, keys)
            n = len(levels)
            with_slope = n if len(keys) == 1 else 0  # pairs of values do not change with age
            slope = slice(at + n, at + n + with_slope)
            self.groups_.append(Group(keys, levels, slice(at, at + n), slope))
            at = slope.stop

    def _rows(self, X: pd.DataFrame, age: np.ndarray) -> np.ndarray:
        """Design of the rows: age splines, then each group's levels and their change with age."""
        age = np.clip(age, 0.0, self.last_km_)
        parts = [self.ages_.transform(age[:, None])]
        way = ((age - self.middle_km_) / self.spread_km_)[:, None]
        for group in self.groups_:
            own = one_hot(X, group)
            parts += [own, own * way] if group.slope.stop > group.slope.start else [own]
        return np.hstack(parts)

    def _lean(self, shown: Totals) -> Totals:
        """Set strays apart, and find from what all departs and how far sights are independent."""
        own, reach = shown.by_sensor()
        reached, self.strays_ = reach.sum(), Strays(0.0, 0.0)
        if self.family != "gamma":
            self.strays_, share = stray_rate(own, reach)
            shown = replace(shown, stray_share=share)
            own *= np.subtract(1.0, share, out=reach)  # no table more than is needed
        self.base_ = float(np.log(max(own.sum(), 0.5) / reached))
        self.n_sensors_, self.n_sensors_with_ = len(own), int((own > 0).any(axis=1).sum())
        if self.design_effect is not None:
            self.design_effect_ = np.asarray(self.design_effect, dtype=float)
        elif self.family == "gamma":
            self.design_effect_ = gamma_effect(shown, own, reach)
        else:
            self.design_effect_ = count_effect(own)
        return shown

    def _cells(self, X: pd.DataFrame, age: np.ndarray, shown: Totals) -> tuple[Cells, np.ndarray]:
        """Tests pooled by part, duty and age cell, in units of independent sights."""
        cell = np.clip(np.searchsorted(self.edges_, age, side="right") - 1, 0, self.n_cells - 1)
        names = sorted({name for keys in self.groups for name in keys})
        key = pd.DataFrame({name: text(X[name]) for name in names} | {"cell": cell})
        number = key.groupby(list(key.columns), sort=True).ngroup().to_numpy()
        first = np.unique(number, return_index=True)[1]
        middle = ((self.edges_[1:] + self.edges_[:-1]) / 2)[cell[first]]
        rows = self._rows(key.iloc[first], middle)
        scale = 1.0 / self.design_effect_
        base = np.exp(self.base_)
        y, e = (v * scale for v in shown.summed(number, len(first)))
        y, e = (y / base, e) if self.family == "gamma" else (y, e * base)
        return Cells(rows, self.basis_, y, e, self.family), number

    def _penalties(self) -> list[Penalty]:
        P, Q = self.basis_.shape[1], self.ages_.n_features_out_
        bend, eye = differences(P, BEND_ORDER), np.eye(P)
        fleet = slice(0, Q)
        shapes = [(fleet, np.eye(Q), bend), (fleet, differences(Q, 2), eye)]
        guesses = list(GUESSES[:2])
        for group in self.groups_:
            n = np.eye(len(group.levels))
            if not n.size:
                continue
            shapes += [(group.level, n, bend), (group.level, n, eye)]
            guesses += GUESSES[2:4]
            if group.slope.stop > group.slope.start:
                shapes += [(group.slope, n, bend + 0.1 * eye)]
                guesses += GUESSES[4:]
        return [Penalty(*s, g, GUESS_WORTH) for s, g in zip(shapes, guesses, strict=True)]

    def _spread(self, cells: Cells, number: np.ndarray, shown: Totals) -> np.ndarray:
        """Sum of the squares of the sensors' scores, shape (R P, R P)."""
        fitted, scale = self.fitted_, 1.0 / self.design_effect_
        mean = np.exp(self.base_ + cells.log_mean(fitted.beta))
        folded = _folded(shown.sensor, self.n_sensors_)
        order = np.argsort(folded, kind="stable")
        spread = np.zeros_like(fitted.information)
        for part in _chunks(folded[order], 200):
            at = order[part]
            curve = (self._rest(shown, mean, number, at) * scale) @ cells.bins
            score = _by_sensor(folded[at], cells.rows, number[at], curve)
            spread += score.T @ score
        return spread

    def _rest(
        self, shown: Totals, mean: np.ndarray, number: np.ndarray, at: np.ndarray
    ) -> np.ndarray:
        """How far the tests ``at`` are off their cells' mean, shape (at, BINS)."""
        out = np.empty((len(at), BINS))
        for begin in range(0, len(at), TESTS_AT_ONCE):
            part = slice(begin, begin + TESTS_AT_ONCE)
            (total, seen), mu = shown.part(at[part]), mean[number[at[part]]]
            out[part] = total / mu - seen if self.family == "gamma" else total - seen * mu
        return out

    def _sandwich(self, spread: np.ndarray) -> np.ndarray:
        fitted = self.fitted_
        trust = self.n_sensors_with_ / (self.n_sensors_with_ + SENSORS_TRUSTED)
        free = max(self.n_sensors_with_ - fitted.edf, self.n_sensors_with_ / 3.0, 1.0)
        spread = spread * (self.n_sensors_with_ / free)
        middle = trust * spread + (1.0 - trust) * fitted.information + fitted.penalty
        return fitted.covariance @ middle @ fitted.covariance


def _splines(intervals: int, last: float, degree: int) -> SplineTransformer:
    knots = np.linspace(0.0, last, intervals + 1)[:, None]
    return SplineTransformer(degree=degree, knots=knots, extrapolation="constant").fit(knots)


def differences(size: int, order: int) -> np.ndarray:
    """Penalty on differences of neighbouring coefficients, shape (size, size)."""
    D = np.diff(np.eye(size), order, axis=0)
    return D.T @ D


def _folded(sensor: np.ndarray, sensors: int) -> np.ndarray:
    """Sensors put together at random where there are many.

    Scores of independent sensors add up to scores as independent, so the sum of their squares has
    the same mean.
    """
    if sensors <= MOST_CLUSTERS:
        return sensor
    return np.random.default_rng(0).integers(0, MOST_CLUSTERS, sensors)[sensor]


def _chunks(ordered: np.ndarray, sensors: int) -> list[slice]:
    """Slices of tests in order of sensor, whole sensors each."""
    starts = np.searchsorted(ordered, np.arange(0, int(ordered[-1]) + 1, sensors))
    ends = np.append(starts[1:], len(ordered))
    return [slice(int(a), int(b)) for a, b in zip(starts, ends, strict=True)]


def _by_sensor(
    sensor: np.ndarray, rows: np.ndarray, number: np.ndarray, curve: np.ndarray
) -> np.ndarray:
    """Each sensor's score, shape (sensors, R P); tests stand in order of sensor.

    ``rows[number]`` are the tests' rows of the design. Each test takes as much memory as a score,
    so whole sensors go some tests at a time.
    """
    starts = np.flatnonzero(np.diff(sensor, prepend=sensor[0] - 1))
    ends = np.append(starts[1:], len(sensor))
    out = np.empty((len(starts), rows.shape[1] * curve.shape[1]))
    first = 0
    while first < len(starts):
        begin = starts[first]
        last = max(first + 1, int(np.searchsorted(ends, begin + _SCORES_AT_ONCE, side="right")))
        part = slice(begin, ends[last - 1])
        each = rows[number[part]][:, :, None] * curve[part, None, :]
        each = each.reshape(len(each), -1)
        np.add.reduceat(each, starts[first:last] - begin, axis=0, out=out[first:last])
        first = last
    return out
