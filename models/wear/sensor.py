"""One sensor's intensity over the travel at a later age: its own wear, and new wear as of its like.

What a sensor's band shows at its last test goes on, grown by a factor; and with the km since then
new wear arises as among its like, where the sensor is expected to wear. The band's level is the
posterior mean of ``WornBands``, so that a sensor with little evidence is drawn to all others. How
fast either goes is learnt from how tests follow one another (Poisson maximum likelihood).
"""

from __future__ import annotations

import numpy as np
import pandas as pd
from scipy.optimize import minimize
from sklearn.base import BaseEstimator
from sklearn.utils.validation import check_is_fitted

from models.wear.bands import WornBands
from models.wear.records import WearRecords
from models.wear.schemas import OWN_SHARES, OWN_WEAR
from models.wear.seen import Pooled, in_life_order, pooled_at

KEPT, RENEWAL_KM = 1.0, 10_000.0  # used where too few tests follow one another (assumed)
FEWEST_PAIRS, MOST_PAIRS = 30, 2_000
_LOG_KEPT, _LOG_KM = (-3.0, 1.5), (float(np.log(500.0)), float(np.log(1e6)))


class SensorIntensity(BaseEstimator):
    """Drop-outs a pass that each sensor is expected to show in each travel bin.

    Parameters
    ----------
    bands : WornBands
        Fitted to the same records.

    Attributes
    ----------
    kept_, renewal_km_ : float
        A band's drop-outs a pass at the next test over those at this one; after ``renewal_km_``
        some 63 % of the pooled intensity is new to the sensor.
    """

    def __init__(self, bands: WornBands):
        self.bands = bands

    def fit(self, X: WearRecords, y: Pooled) -> SensorIntensity:
        """Learn from tests ``X``; ``y`` is the pooled intensity (wear only)."""
        order, last = in_life_order(X)
        self._learn(X, y, order, last)
        return self

    def own(self, X: WearRecords, pooled: np.ndarray) -> pd.DataFrame:
        """What each life of ``X`` shows at its last test: frame of ``OWN_WEAR``."""
        order, last = in_life_order(X)
        rows = order[last]
        level, share = self.bands.own_level(X, pooled, rows)
        tests = X.tests.iloc[rows]
        out = pd.DataFrame(share, columns=OWN_SHARES)
        out.insert(0, "life_id", tests["life_id"].to_numpy())
        out.insert(1, "last_km", tests["sensor_age_km"].to_numpy(float))
        out.insert(2, "level", level)
        return OWN_WEAR.check(out)

    def predict(self, X: pd.DataFrame, pooled: np.ndarray, own: pd.DataFrame) -> np.ndarray:
        """Intensity of wear, strays left out, shape (n, BINS).

        Parameters
        ----------
        X : frame of shape (n, ...)
            ``life_id`` and ``sensor_age_km``. A life without own wear has the pooled intensity.
        pooled : array of shape (n, BINS)
            Pooled intensity of its like at that age.
        own : frame of ``OWN_WEAR``
            What lives showed at their last test.
        """
        check_is_fitted(self)
        at = pd.Index(own["life_id"]).get_indexer(X["life_id"])
        seen = at >= 0
        out = np.array(pooled, dtype=float)
        km = X["sensor_age_km"].to_numpy(float)[seen] - own["last_km"].to_numpy()[at[seen]]
        like = out[seen].sum(axis=1)
        level = self._ahead(own["level"].to_numpy()[at[seen]], like, km, self.kept_)
        out[seen] = level[:, None] * own[OWN_SHARES].to_numpy()[at[seen]]
        return out

    def _ahead(
        self, level: np.ndarray, like: np.ndarray, km: np.ndarray, kept: float
    ) -> np.ndarray:
        """Drop-outs a pass on the whole travel, ``km`` on; ``like`` : of the pooled curve there."""
        return kept * level - np.expm1(-np.abs(km) / self.renewal_km_) * like

    def _learn(self, X: WearRecords, pooled: Pooled, order: np.ndarray, last: np.ndarray) -> None:
        self.kept_, self.renewal_km_ = KEPT, RENEWAL_KM
        before = np.flatnonzero(~last)
        if len(before) > MOST_PAIRS:
            before = np.sort(np.random.default_rng(0).choice(before, MOST_PAIRS, replace=False))
        earlier, later = order[before], order[before + 1] if len(before) else order[:0]
        counts, reach = X.counts[later], X.exposure[later]
        if len(before) < FEWEST_PAIRS or counts.sum() < 1:
            return
        level, share = self.bands.own_level(X, pooled, earlier)
        like = pooled_at(pooled, later).sum(axis=1)
        age = X.tests["sensor_age_km"].to_numpy(float)
        km = age[later] - age[earlier]
        strays = reach * self.bands.stray_rate_

        def minus(at: np.ndarray) -> float:
            self.renewal_km_ = float(np.exp(np.clip(at[1], *_LOG_KM)))
            total = self._ahead(level, like, km, float(np.exp(np.clip(at[0], *_LOG_KEPT))))
            mean = reach * (total[:, None] * share) + strays
            return -float((counts * np.log(np.maximum(mean, 1e-300)) - mean).sum())

        found = minimize(minus, [np.log(KEPT), np.log(RENEWAL_KM)], method="Nelder-Mead").x
        self.kept_ = float(np.exp(np.clip(found[0], *_LOG_KEPT)))
        self.renewal_km_ = float(np.exp(np.clip(found[1], *_LOG_KM)))
