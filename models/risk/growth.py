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
(2004) 809 (from memory). The hazard is fitted first without the readings, then
anew given this course (``models.risk.beyond``, ``models.risk.fit``).
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator

import numpy as np
import pandas as pd
from scipy.optimize import minimize
from scipy.special import expit
from scipy.stats import norm
from sklearn.base import BaseEstimator
from sklearn.utils.validation import check_is_fitted

from models.risk.course import RISES, Course, LifeReadings, Likelihood

MEASURES = ("roughness_pct", "roughness_z")
#: With fewer readings than this there is no course, and none counts.
FEWEST_READINGS = 40
_QUANTILES = 2_000
_MOST = 3.0
_STEP = 1e-3
#: Within which the search goes: logarithms of the rises, and start and bounds of the rest
#: (level of a new sensor in standard deviations, logarithms, logit), where assumed values stand.
_LEAST_RISE, _MOST_RISE = -7.0, 1.5
_START = np.array([0.0, -1.0, -1.0, -0.2, -3.0, -3.0])
_BOUNDS = [(-4.0, 4.0), (-4.0, 1.0), (-3.0, 0.0), (-4.0, 1.0), (-7.0, 0.0), (-7.0, -0.5)]


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
    theta_, covariance_ : arrays of shape (12,), (12, 12)
        Course in the search's own terms, and how far it may lie from that (Laplace).
    gain_ : float
        By how much the rise raises the penalised log likelihood over the best flat course.
    n_readings_ : int
    complaint_rates_ : array of shape (2,) or None
        See ``models.risk.complaints``; set by ``models.risk.fit``.
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
        self.complaint_rates_ = None
        for measure in MEASURES:
            values = _values(X, wear_readings, measure)
            told = np.isfinite(values.level)
            if told.sum() < FEWEST_READINGS or np.ptp(values.level[told]) == 0:
                continue
            scores = _reference(values.level[told])
            readings = values._replace(level=_scored(scores, values.level))
            whole = _whole(readings, defect_km)
            theta, scale, gain = self._fit_one(whole, log_chance)
            if self.course_ is None or gain > self.gain_:
                self.course_, self.measure_, self.gain_ = _course(theta, *scale), measure, gain
                self.n_readings_, self.scores_ = int(told.sum()), scores
                self.theta_, self.scale_, best = theta, scale, whole
        if self.course_ is not None:
            self.covariance_ = self._spread(best, log_chance)
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

    def courses(self, n_draws: int, seed: int) -> list[Course]:
        """The course, and others it may as well be, drawn from its normal approximation."""
        check_is_fitted(self)
        if self.course_ is None:
            return []
        value, vector = np.linalg.eigh(self.covariance_)
        normal = np.random.default_rng([seed, 5]).standard_normal((n_draws, len(self.theta_)))
        drawn = self.theta_ + normal @ (vector * np.sqrt(np.maximum(value, 0.0))).T
        low, high = np.array([*[(_LEAST_RISE, _MOST_RISE)] * RISES, *_BOUNDS]).T
        return [self.course_, *(_course(row, *self.scale_) for row in np.clip(drawn, low, high))]

    def log_likelihood(
        self,
        readings: LifeReadings,
        defect_km: np.ndarray,
        shift_km: np.ndarray | float = 0.0,
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
        if self.course_ is None:
            return np.zeros(defect_km.shape)
        (given,) = self.log_likelihoods(readings, defect_km, shift_km, (self.course_,))
        return given

    def log_likelihoods(
        self,
        readings: LifeReadings,
        defect_km: np.ndarray,
        shift_km: np.ndarray | float,
        courses: Iterable[Course],
    ) -> Iterator[np.ndarray]:
        """``log_likelihood`` under one course after another, each as ``courses`` draws it."""
        if not len(readings.row):
            yield from (np.zeros(defect_km.shape) for _ in courses)
            return
        moved = np.broadcast_to(np.asarray(shift_km, dtype=float), defect_km.shape[2:])
        flat = (defect_km - moved).reshape(len(defect_km), -1)
        whole = _whole(readings, flat, np.tile(moved, defect_km.shape[1]))
        for course in courses:
            yield whole.of_all_nodes(course).reshape(defect_km.shape)

    def _fit_one(
        self, whole: Likelihood, log_chance: np.ndarray
    ) -> tuple[np.ndarray, tuple[float, float], float]:
        """The course in the search's terms, their scale, and the gain over the best flat course."""
        scale = (float(np.median(whole.level)), float(max(np.std(whole.level), 1e-3)))
        found = []
        for most in (_MOST_RISE, _LEAST_RISE):
            start = np.full(RISES, min(-2.0, most))
            found.append(
                minimize(
                    lambda theta: self._loss(theta, whole, log_chance, scale),
                    np.concatenate([start, _START]),
                    jac=True,
                    method="L-BFGS-B",
                    bounds=[(_LEAST_RISE, most)] * RISES + _BOUNDS,
                    options={"maxiter": self.max_iter},
                )
            )
        return found[0].x, scale, float(found[1].fun - found[0].fun)

    def _spread(self, whole: Likelihood, log_chance: np.ndarray) -> np.ndarray:
        """Inverse of the loss's second derivatives, by differences of the gradient.

        On the scale of logarithms a standard deviation above 1 is not told from 1.
        """
        steps = _STEP * np.eye(len(self.theta_))

        def slope(theta: np.ndarray) -> np.ndarray:
            return self._loss(theta, whole, log_chance, self.scale_)[1]

        bend = np.array([slope(self.theta_ + h) - slope(self.theta_ - h) for h in steps])
        bend = (bend + bend.T) / (4 * _STEP)
        value, vector = np.linalg.eigh(bend)
        return (vector / np.maximum(value, 1.0)) @ vector.T

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


def _whole(
    readings: LifeReadings, defect_km: np.ndarray, shift_km: np.ndarray | float = 0.0
) -> Likelihood:
    """Likelihood of readings were the defect at ages (lives, cells), both moved by ``shift_km``."""
    way = (readings.km[:, None] + shift_km) / np.maximum(defect_km[readings.row] + shift_km, 1.0)
    return Likelihood(readings, way, len(defect_km))


def _reference(values: np.ndarray) -> np.ndarray:
    """The fleet's readings in order, or as many quantiles of them."""
    if len(values) <= _QUANTILES:
        return np.sort(values)
    return np.quantile(values, np.linspace(0.0, 1.0, _QUANTILES))


def _scored(reference: np.ndarray, values: np.ndarray) -> np.ndarray:
    """Normal score of the middle rank, so that equal readings have the middle of their ranks."""
    result, told = np.full(len(values), np.nan), np.isfinite(values)
    below = np.searchsorted(reference, values[told], side="left")
    upto = np.searchsorted(reference, values[told], side="right")
    rank = np.clip((below + upto + 1) / 2, 1, len(reference))
    result[told] = np.clip(norm.ppf(rank / (len(reference) + 1)), -_MOST, _MOST)
    return result


def _course(theta: np.ndarray, base: float, spread: float) -> Course:
    level, own, factor, noise, new, worn = theta[RISES:]
    return Course(
        base=base + spread * level,
        rise=np.exp(theta[:RISES]),
        own_sd=spread * float(np.exp(own)),
        factor_sd=float(np.exp(factor)),
        noise_sd=spread * float(np.exp(noise)),
        out_new=float(expit(new)),
        out_worn=float(np.exp(worn)),
    )


def _log_prior(course: Course, theta: np.ndarray, rise_scale: float) -> tuple[float, np.ndarray]:
    """Exponential on the rises, wide normals about the start on the rest; and its gradient."""
    away = theta[RISES:] - _START
    slope = np.concatenate([-course.rise / rise_scale, -away])
    return float(-course.rise.sum() / rise_scale - (away**2).sum() / 2), slope
