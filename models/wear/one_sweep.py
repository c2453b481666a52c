"""Chance that one sweep by itself shows a worn band: what the risk model takes from the wear map.

The sweep is held against assumed chances of how tracks wear, the same for all, and against an even
spread over the travel. Nothing is learnt from other tests, so a sweep says the same on any later
day, whatever came to light meanwhile.
"""

from __future__ import annotations

import numpy as np

from models.wear.bands import CHUNK, WornBands
from models.wear.exposure import BINS
from models.wear.records import WearRecords

WORN_SHARE = 0.4  # share of tests with a worn band (assumed)
STRAY_RATE = 2e-4  # drop-outs a pass and bin that are no wear (assumed)
GRAIN, OWN_GRAIN = 0.034, 0.0  # of a sound bin's log roughness (assumed, as in the simulation)


def band_chance(X: WearRecords) -> np.ndarray:
    """Chance of a worn band by each sweep alone, shape (n,); NaN where it could not have shown one.

    Parameters
    ----------
    X : WearRecords
        Sweeps; which sensor or life they are of does not matter.
    """
    if not len(X):
        return np.zeros(0)
    model = assumed_bands()
    seen = model.seen(X, np.ones((len(X), BINS)), memory=0.0)
    parts = [
        model.posterior(seen.take(slice(first, first + CHUNK)), model.prior_log_odds).log_odds
        for first in range(0, len(X), CHUNK)
    ]
    chance = 1.0 / (1.0 + np.exp(-np.clip(np.concatenate(parts), -50.0, 50.0)))
    could = np.isfinite(X.roughness).any(axis=1) | (X.exposure > 0).any(axis=1)
    return np.where(could, chance, np.nan)


def assumed_bands() -> WornBands:
    """Band model whose chances of level, roughening and width are those it starts learning from."""
    model = WornBands().start(STRAY_RATE, GRAIN)
    model.worn_share_, model.own_grain_, model.drift_pct_ = WORN_SHARE, OWN_GRAIN, 0.0
    return model
