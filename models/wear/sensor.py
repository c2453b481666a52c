"""One sensor's intensity over the travel: its own drop-outs, drawn to those of its like.

The sensor's intensity is the pooled total at its age, shared out over the travel by weights of its
own: a gamma process whose mean is the pooled curve, blurred as sweeps blur a worn place (Wolpert &
Ickstadt, Biometrika 85 (1998) 251, from memory). Small shapes make it sparse, so wear may sit at
one place, at several, or at a stop; how sparse is learnt from the spread between sensors. What is
worn stays so, and with the km since the last test new wear arises as among its like: how fast is
learnt from how tests follow one another.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
from scipy.optimize import minimize, minimize_scalar
from scipy.special import gammaln, psi
from scipy.stats import norm
from sklearn.base import BaseEstimator
from sklearn.utils.validation import check_is_fitted

from models.wear.clusters import summed
from models.wear.exposure import BIN_PCT, BINS

BLUR_PCT = 1.1  # 1 sigma: half the width of a usual band with the error of travel (assumed)
SHAPE_LIMITS = (0.01, 50.0)
RENEWAL_KM = 10_000.0  # used where too few tests follow one another (assumed)
FEWEST_PAIRS, MOST_PAIRS = 30, 5000
_KM_LIMITS = (float(np.log(500.0)), float(np.log(1e6)))
_STEPS = 25


class SensorIntensity(BaseEstimator):
    """Empirical Bayes intensity of each sensor in each travel bin.

    Parameters
    ----------
    blur_pct : float
        How widely one worn place shows, 1 sigma.
    shape : float, optional
        Gamma shape of a sensor's total over the pooled total: small where few sensors have most
        drop-outs. Learnt from the sensors' totals (negative binomial likelihood) if None.

    Attributes
    ----------
    shape_ : float
    keep_, renewal_km_ : float
        What is worn goes on at ``keep_`` of its pooled growth; after ``renewal_km_`` some 63 % of
        the pooled intensity is new to the sensor.
    stray_rate_ : float
    weight_ : frame
        Each sensor's expected weights, index sensor_id, a column a bin.
    last_km_ : series
        Its age at its last test.
    """

    def __init__(self, blur_pct: float = BLUR_PCT, shape: float | None = None):
        self.blur_pct = blur_pct
        self.shape = shape

    def fit(
        self,
        X: pd.DataFrame,
        y: np.ndarray,
        exposure: np.ndarray,
        pooled: np.ndarray,
        stray_rate: float = 0.0,
    ) -> SensorIntensity:
        """Fit to tests.

        Parameters
        ----------
        X : frame of shape (n, ...)
            ``sensor_id``, ``sensor_age_km``.
        y, exposure : arrays of shape (n, BINS)
            Drop-outs and passes.
        pooled : array of shape (n, BINS)
            Pooled intensity of wear at each test (strays left out).
        stray_rate : float
            Drop-outs a pass and bin that are no wear.
        """
        number, names = pd.factorize(X["sensor_id"])
        self.stray_rate_ = float(stray_rate)
        total = pooled.sum(axis=1)
        weighted = exposure * total[:, None]
        counts, reach, plain = (summed(v, number, len(names)) for v in (y, weighted, exposure))
        share = summed(pooled / np.maximum(total, 1e-300)[:, None], number, len(names))
        share /= share.sum(axis=1, keepdims=True)
        expected = summed((exposure * pooled), number, len(names)).sum(axis=1)
        self.shape_ = self.shape or _nb_shape(counts.sum(axis=1), expected)
        self._learn_renewal(X, y, exposure, pooled)
        weight = self._weights(counts, reach, plain, share)
        self.last_km_ = X.groupby("sensor_id")["sensor_age_km"].max()
        self.weight_ = pd.DataFrame(weight, index=pd.Index(names, name="sensor_id"))
        return self

    def predict(self, X: pd.DataFrame, pooled: np.ndarray) -> np.ndarray:
        """Intensity at tests, shape (n, BINS); a sensor not seen before has the pooled one."""
        check_is_fitted(self)
        at = self.weight_.index.get_indexer(X["sensor_id"])
        since = X["sensor_age_km"].to_numpy() - self.last_km_.reindex(X["sensor_id"]).to_numpy()
        own = pooled.sum(axis=1)[:, None] * self.weight_.to_numpy()[at]
        renewed = np.where(at >= 0, 1.0 - np.exp(-np.abs(since) / self.renewal_km_), 1.0)
        kept = np.where(at >= 0, self.keep_, 0.0)
        return kept[:, None] * own + renewed[:, None] * pooled + self.stray_rate_

    def _learn_renewal(
        self, X: pd.DataFrame, y: np.ndarray, exposure: np.ndarray, pooled: np.ndarray
    ) -> None:
        """Maximum likelihood of each test given the one before it."""
        self.keep_, self.renewal_km_ = 1.0, RENEWAL_KM
        before, after = _following(X)
        if len(before) < FEWEST_PAIRS or y[after].sum() < 1:
            return
        total = pooled.sum(axis=1, keepdims=True)
        share = pooled[before] / np.maximum(total[before], 1e-300)
        weight = self._weights(y[before], (exposure * total)[before], exposure[before], share)
        km = np.abs(np.diff(X["sensor_age_km"].to_numpy()[np.c_[before, after]], axis=1))
        own, seen, pool = total[after] * weight, exposure[after], pooled[after]

        def minus(at: np.ndarray) -> float:
            keep, renewal_km = (
                np.exp(np.clip(at[0], -3.0, 3.0)),
                np.exp(np.clip(at[1], *_KM_LIMITS)),
            )
            mean = keep * own + (1.0 - np.exp(-km / renewal_km)) * pool
            mean = seen * (mean + max(self.stray_rate_, 1e-9))
            return -float((y[after] * np.log(np.maximum(mean, 1e-300)) - mean).sum())

        found = minimize(minus, [0.0, np.log(RENEWAL_KM)], method="Nelder-Mead").x
        self.keep_ = float(np.exp(np.clip(found[0], -3.0, 3.0)))
        self.renewal_km_ = float(np.exp(np.clip(found[1], *_KM_LIMITS)))

    def _weights(
        self, counts: np.ndarray, reach: np.ndarray, plain: np.ndarray, share: np.ndarray
    ) -> np.ndarray:
        """Expected blurred weights, by coordinate updates of a factorised posterior."""
        blur = _blur(self.blur_pct)
        prior = self.shape_ * np.maximum(share, 1e-6)
        rate = self.shape_ + reach @ blur
        shape = prior.copy()
        strays = self.stray_rate_ * plain
        for _ in range(_STEPS):
            log = psi(shape) - np.log(rate)
            height = np.exp(np.maximum(log, -700.0))
            shown = (height @ blur.T) * reach + strays
            ratio = np.where(counts > 0, counts / np.maximum(shown, 1e-300), 0.0)
            shape = prior + height * ((ratio * reach) @ blur)
        return (shape / rate) @ blur.T


def _blur(sigma_pct: float) -> np.ndarray:
    """Share of a place's drop-outs read in each bin, shape (BINS, places); columns add up to 1."""
    edges, places = np.arange(BINS + 1) * BIN_PCT, (np.arange(BINS) + 0.5) * BIN_PCT
    below = norm.cdf((edges[:, None] - places) / sigma_pct)
    below[0], below[-1] = 0.0, 1.0  # what would lie beyond a stop is read at the stop
    return np.diff(below, axis=0)


def _nb_shape(count: np.ndarray, expected: np.ndarray) -> float:
    """Maximum-likelihood shape of a negative binomial with known means."""
    n, mu = count[expected > 0], expected[expected > 0]

    def minus(log_shape: float) -> float:
        a = np.exp(log_shape)
        terms = gammaln(n + a) - gammaln(a) + a * np.log(a / (a + mu))
        return -float((terms + n * np.log(mu / (a + mu))).sum())

    limits = tuple(np.log(SHAPE_LIMITS))
    return float(np.exp(minimize_scalar(minus, bounds=limits, method="bounded").x))


def _following(X: pd.DataFrame) -> tuple[np.ndarray, np.ndarray]:
    """Rows of tests and of the test that follows each, some thousand pairs at most."""
    number = pd.factorize(X["sensor_id"])[0]
    order = np.lexsort((X["sensor_age_km"].to_numpy(), number))
    same = np.flatnonzero(np.diff(number[order]) == 0)
    if len(same) > MOST_PAIRS:
        same = np.random.default_rng(0).choice(same, MOST_PAIRS, replace=False)
    return order[same], order[same + 1]
