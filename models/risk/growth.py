"""How roughness grows towards the defect, and what a life's readings say of when that comes.

A reading is taken to lie about a course that rises with the share of the way gone: the sensor's age
at the test over its age at the defect, as wear that runs at a sensor's own pace would have it. The
course is estimated, not assumed: piecewise linear, never falling, on the reading's normal score
among all of the fleet, so that no unit and no wild value matters.
Sensors differ by a level of their own (make, logger) and by how rough they get (a factor); what is
left is noise. Held against an age at which the defect may come, a life's readings have a
likelihood; times the chance of that age by the hazard it gives, by Bayes' rule, the chance after
the readings. Stale readings thus lag by themselves, and growth between tests counts as it should.

A joint model of readings and time to event in two stages: Tsiatis & Davidian, Statistica Sinica 14
(2004) 809 (from memory). The hazard is fitted first, without the readings.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import pandas as pd
from scipy.optimize import minimize
from scipy.special import expit, logsumexp
from sklearn.base import BaseEstimator
from sklearn.preprocessing import QuantileTransformer
from sklearn.utils.validation import check_is_fitted

MEASURES = ("roughness_pct", "roughness_z")
#: Shares of the way at which the course may bend, and just beyond the defect.
KNOTS = np.array([0.0, 0.4, 0.55, 0.7, 0.85, 1.0])
#: With fewer readings than this there is no course, and none counts.
FEWEST_READINGS = 40
_QUANTILES = 200
_MOST = 3.0
_NODE, _NODE_WEIGHT = np.polynomial.hermite_e.hermegauss(5)
_LOG_NODE_WEIGHT = np.log(_NODE_WEIGHT / _NODE_WEIGHT.sum())
#: Share of the way from which checks are out of band more often.
_OUT_FROM = 0.5
_RISES = len(KNOTS)
#: Within which the search goes: logarithms of the rises, and start and bounds of the rest
#: (level of a new sensor in standard deviations, logarithms, logit), where assumed values stand.
_LEAST_RISE, _MOST_RISE = -7.0, 1.5
_START = np.array([0.0, -1.0, -1.0, -0.2, -3.0, -3.0])
_BOUNDS = [(-4.0, 4.0), (-4.0, 1.0), (-3.0, 0.0), (-4.0, 1.0), (-7.0, 0.0), (-7.0, -0.5)]


class LifeReadings(NamedTuple):
    """Readings in order of the row of the life they belong to.

    ``row`` : place of the life; ``km`` : age at the test; ``level`` : normal score of the reading
    among the fleet's, NaN where it tells none; ``out`` : checks out of band.
    """

    row: np.ndarray
    km: np.ndarray
    level: np.ndarray
    out: np.ndarray

    def take(self, members: np.ndarray) -> LifeReadings:
        """Those of some lives, numbered by their place in ``members``."""
        first = np.searchsorted(self.row, members)
        count = np.searchsorted(self.row, members, side="right") - first
        row = np.repeat(np.arange(len(members)), count)
        own = first[row] + np.arange(len(row)) - np.repeat(np.cumsum(count) - count, count)
        return LifeReadings(row, self.km[own], self.level[own], self.out[own])


def _values(lives: pd.DataFrame, wear_readings: pd.DataFrame, measure: str) -> LifeReadings:
    """Readings as measured of lives (``life_id``), which may stand in several rows."""
    place = pd.DataFrame({"life_id": lives["life_id"].to_numpy(), "row": np.arange(len(lives))})
    found = place.merge(wear_readings, on="life_id").sort_values(["row", "read_km"], kind="stable")
    return LifeReadings(
        found["row"].to_numpy(),
        found["read_km"].to_numpy(float),
        found[measure].astype("float64").to_numpy(),
        found["checks_out_of_band"].astype("float64").fillna(0.0).to_numpy(),
    )


class Course(NamedTuple):
    """Constants of wear: what ``WearGrowth`` estimates.

    ``base`` : normal score of a new sensor; ``rise`` : of the course from knot to knot, and last
    beyond the defect; ``own_sd`` : of a sensor's own level; ``factor_sd`` : of the log
    factor on its rise; ``noise_sd`` : of a reading; ``out_new``, ``out_worn`` : chance of a check
    out of band when new, and what the whole rise adds.
    """

    base: float
    rise: np.ndarray
    own_sd: float
    factor_sd: float
    noise_sd: float
    out_new: float
    out_worn: float


class WearGrowth(BaseEstimator):
    """Constants of how readings grow towards the defect.

    Parameters
    ----------
    rise_scale : float
        Expected size of each rise of the course in normal scores (exponential prior), assumed.
    max_iter : int
        Most steps of the search (L-BFGS).

    Attributes
    ----------
    course_ : Course or None
        None where fewer than ``FEWEST_READINGS`` tell anything.
    measure_ : str
        Which of ``MEASURES`` the course is of: that whose rise explains more.
    gain_ : float
        By how much the rise raises the log likelihood of the readings over the best flat course.
    n_readings_ : int
    """

    def __init__(self, rise_scale: float = 0.4, max_iter: int = 60):
        self.rise_scale = rise_scale
        self.max_iter = max_iter

    def fit(
        self,
        X: pd.DataFrame,
        y: object = None,
        *,
        wear_readings: pd.DataFrame,
        defect_km: np.ndarray,
        log_chance: np.ndarray,
    ) -> WearGrowth:
        """Fit to readings of lives whose defect may lie in several places.

        Parameters
        ----------
        X : frame of shape (n, ...)
            ``life_id`` of each row of a life.
        y : None
            Not used; there by convention.
        wear_readings : frame
            Columns of ``WEAR_READINGS``.
        defect_km : array of shape (n, cells)
            Ages at which the defect may come.
        log_chance : array of shape (n, cells)
            Log chance of each by all but the readings, summing to 1 over a row.
        """
        self.course_, self.measure_, self.gain_, self.n_readings_ = None, MEASURES[0], 0.0, 0
        for measure in MEASURES:
            values = _values(X, wear_readings, measure)
            told = np.isfinite(values.level)
            if told.sum() < FEWEST_READINGS or np.ptp(values.level[told]) == 0:
                continue
            scores = _scores(values.level[told])
            readings = values._replace(level=_scored(scores, values.level))
            course, gain = self._fit_one(readings, defect_km, log_chance)
            if self.course_ is None or gain > self.gain_:
                self.course_, self.measure_, self.gain_ = course, measure, gain
                self.n_readings_, self.scores_ = int(told.sum()), scores
        return self

    def life_readings(self, lives: pd.DataFrame, wear_readings: pd.DataFrame) -> LifeReadings:
        """Readings of the lives (``life_id``) in the rows of a frame, as the course takes them."""
        values = _values(lives, wear_readings, self.measure_)
        if self.course_ is None:
            return values._replace(level=np.full(len(values.row), np.nan))
        return values._replace(level=_scored(self.scores_, values.level))

    def last_scores(self, lives: pd.DataFrame, wear_readings: pd.DataFrame) -> np.ndarray:
        """Normal score of each life's last telling reading; NaN where there is none."""
        readings = self.life_readings(lives, wear_readings)
        told, result = np.isfinite(readings.level), np.full(len(lives), np.nan)
        result[readings.row[told]] = readings.level[told]
        return result

    def log_likelihood(
        self, readings: LifeReadings, defect_km: np.ndarray, shift_km: np.ndarray | float = 0.0
    ) -> np.ndarray:
        """Log likelihood of each life's readings were its defect at an age.

        Parameters
        ----------
        readings : LifeReadings
            By row of ``defect_km``; of the measure ``measure_``.
        defect_km : array of shape (n, cells, m)
            Ages at the defect.
        shift_km : array of shape (m,), or 0
            What these ages add to the life's own, by which its tests are counted.

        Returns
        -------
        array of shape (n, cells, m); 0 where a life has no reading or there is no course.
        """
        check_is_fitted(self)
        if self.course_ is None or not len(readings.row):
            return np.zeros(defect_km.shape)
        age = readings.km[:, None, None] + shift_km
        way = age / np.maximum(defect_km[readings.row], 1.0)
        flat = way.reshape(len(way), -1)
        by_node = Likelihood(readings, flat, len(defect_km)).by_node(self.course_)
        return logsumexp(by_node, axis=-1).reshape(defect_km.shape)

    def _fit_one(
        self, readings: LifeReadings, defect_km: np.ndarray, log_chance: np.ndarray
    ) -> tuple[Course, float]:
        way = readings.km[:, None] / np.maximum(defect_km[readings.row], 1.0)
        whole = Likelihood(readings, way, len(defect_km))
        told = readings.level[np.isfinite(readings.level)]
        scale = (float(np.median(told)), float(max(np.std(told), 1e-3)))
        courses, heights = [], []
        for rising in (True, False):
            bounds = [(_LEAST_RISE, _MOST_RISE if rising else _LEAST_RISE)] * _RISES
            start = np.full(_RISES, -2.0 if rising else _LEAST_RISE)
            found = minimize(
                lambda theta: self._loss(theta, whole, log_chance, scale),
                np.concatenate([start, _START]),
                jac=True,
                method="L-BFGS-B",
                bounds=bounds + _BOUNDS,
                options={"maxiter": self.max_iter},
            )
            courses.append(_course(found.x, *scale))
            heights.append(-found.fun)
        return courses[0], float(heights[0] - heights[1])

    def _loss(
        self,
        theta: np.ndarray,
        whole: Likelihood,
        log_chance: np.ndarray,
        scale: tuple[float, float],
    ) -> tuple[float, np.ndarray]:
        """Penalised -log likelihood, and its gradient."""
        course = _course(theta, *scale)
        height, gradient = whole.height(course, log_chance)
        prior, slope = _log_prior(course, theta, self.rise_scale)
        factors = np.concatenate(
            [
                course.rise,
                [scale[1], 1.0, 1.0, 1.0],
                [course.out_new * (1 - course.out_new), course.out_worn],
            ]
        )
        return -(height + prior), -(gradient * factors + slope)


def _scores(values: np.ndarray) -> QuantileTransformer:
    scores = QuantileTransformer(
        n_quantiles=min(_QUANTILES, len(values)), output_distribution="normal", subsample=None
    )
    return scores.fit(values[:, None])


def _scored(scores: QuantileTransformer, values: np.ndarray) -> np.ndarray:
    result, told = np.full(len(values), np.nan), np.isfinite(values)
    if told.any():
        result[told] = np.clip(scores.transform(values[told, None])[:, 0], -_MOST, _MOST)
    return result


def _course(theta: np.ndarray, base: float, spread: float) -> Course:
    level, own, factor, noise, new, worn = theta[_RISES:]
    return Course(
        base=base + spread * level,
        rise=np.exp(theta[:_RISES]),
        own_sd=spread * float(np.exp(own)),
        factor_sd=float(np.exp(factor)),
        noise_sd=spread * float(np.exp(noise)),
        out_new=float(expit(new)),
        out_worn=float(np.exp(worn)),
    )


def _log_prior(course: Course, theta: np.ndarray, rise_scale: float) -> tuple[float, np.ndarray]:
    """Exponential on the rises, wide normals about the start on the rest; and its gradient."""
    away = theta[_RISES:] - _START
    slope = np.concatenate([-course.rise / rise_scale, -away])
    return float(-course.rise.sum() / rise_scale - (away**2).sum() / 2), slope


class Likelihood:
    """Likelihood of lives' readings by where their defect may lie.

    With n readings whose departures from the course sum to a and their squares to b, noise of
    variance v and an own level of variance w have the log density
    -(b - a^2 w / (v + n w)) / 2v - (n log v + log(1 + n w / v)) / 2, constants left out. The factor
    is integrated out over five nodes (Gauss-Hermite).

    Parameters
    ----------
    readings : LifeReadings
    way : array of shape (readings, cells)
        Share of the way at each reading, by place of the defect.
    lives : int
    """

    def __init__(self, readings: LifeReadings, way: np.ndarray, lives: int):
        told = np.isfinite(readings.level)
        self.lives, self.cells = lives, way.shape[1]
        self.level, self.basis = readings.level[told], _basis(way[told])
        self.row, self.all_rows = readings.row[told], readings.row
        self.first, self.owner = _first(self.row)
        self.count = np.diff(np.append(self.first, len(self.row))).astype(float)[:, None, None]
        self.is_out = (readings.out > 0)[:, None]
        self.late = np.clip((way - _OUT_FROM) / (1 - _OUT_FROM), 0.0, 1.0)

    def by_node(self, course: Course) -> np.ndarray:
        """Log likelihood by life, place of the defect and node, shape (lives, cells, nodes)."""
        out = np.zeros((self.lives, self.cells, len(_NODE))) + _LOG_NODE_WEIGHT
        if len(self.row):
            _, total, square = self._departures(course)
            v, w, n = course.noise_sd**2, course.own_sd**2, self.count
            out[self.owner] -= 0.5 * (n * np.log(v) + np.log1p(n * w / v))
            out[self.owner] -= 0.5 * (square - total**2 * (w / (v + n * w))) / v
        if len(self.all_rows):
            chance = self._chance_out(course)
            first, owner = _first(self.all_rows)
            log = np.where(self.is_out, np.log(chance), np.log1p(-chance))
            out[owner] += np.add.reduceat(log, first, axis=0)[..., None]
        return out

    def height(self, course: Course, log_chance: np.ndarray) -> tuple[float, np.ndarray]:
        """Log likelihood over all lives, and its gradient.

        The gradient is by the rises' logarithms over the rises, base, the logarithms of own_sd,
        factor_sd and noise_sd, out_new and out_worn.
        """
        given = self.by_node(course) + log_chance[:, :, None]
        each = logsumexp(given, axis=(1, 2))
        share = np.exp(given - each[:, None, None])
        gradient = np.zeros(_RISES + 6)
        if len(self.row):
            self._add_levels(course, share, gradient)
        if len(self.all_rows):
            of_cell = share.sum(axis=2)[self.all_rows]
            chance = self._chance_out(course)
            pull = of_cell * np.where(self.is_out, 1 / chance, -1 / (1 - chance))
            gradient[-2], gradient[-1] = pull.sum(), (pull * self.late).sum()
        return float(each.sum()), gradient

    def _add_levels(self, course: Course, share: np.ndarray, gradient: np.ndarray) -> None:
        rest, total, square = self._departures(course)
        v, w, n = course.noise_sd**2, course.own_sd**2, self.count
        both = v + n * w
        life = np.searchsorted(self.owner, self.row)
        own = share[self.owner]
        pull = (rest - (total * (w / both))[life]) / v * own[life]
        factor = np.exp(course.factor_sd * _NODE)
        by_cell = pull @ factor
        gradient[:_RISES] = np.einsum("jc,jck->k", by_cell, self.basis)
        gradient[_RISES] = pull.sum()
        climbed = self.basis @ course.rise
        gradient[_RISES + 2] = course.factor_sd * ((pull @ (factor * _NODE)) * climbed).sum()
        by_w = -0.5 * n / both + 0.5 * total**2 / both**2
        gradient[_RISES + 1] = 2 * w * (own * by_w).sum()
        left = square - total**2 * (w / both)
        by_v = 0.5 * (left / v - n + (n - total**2 / both) * w / both) / v
        gradient[_RISES + 3] = 2 * v * (own * by_v).sum()

    def _departures(self, course: Course) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Of each reading from the course; their sum and sum of squares by life."""
        factor = np.exp(course.factor_sd * _NODE)
        climbed = self.basis @ course.rise
        rest = (self.level - course.base)[:, None, None] - climbed[..., None] * factor
        total = np.add.reduceat(rest, self.first, axis=0)
        return rest, total, np.add.reduceat(rest * rest, self.first, axis=0)

    def _chance_out(self, course: Course) -> np.ndarray:
        return np.minimum(course.out_new + course.out_worn * self.late, 0.95)


def _basis(way: np.ndarray) -> np.ndarray:
    """How far each segment of the course has been climbed, shape (..., segments + 1).

    The last says whether the defect is there.
    """
    climbed = np.clip((way[..., None] - KNOTS[:-1]) / np.diff(KNOTS), 0.0, 1.0)
    return np.concatenate([climbed, (way >= 1.0)[..., None]], axis=-1)


def _first(row: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Places at which each life's readings begin, and the lives, in order."""
    first = np.flatnonzero(np.append(True, row[1:] != row[:-1]))[: len(row)]
    return first, row[first]
