"""How far worn bands move between tests, and places blurred by so much."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
import pandas as pd
from scipy.stats import norm

from models.wear.band_grid import CENTRES_PCT
from models.wear.by_row import by_row
from models.wear.exposure import bin_middles
from models.wear.records import WearRecords

LEAST_DROPOUTS = 3.0  # fewer place no band well enough to see it move
SAME_PCT = 8.0  # two tests whose drop-outs stand further apart show two bands
FEWEST_PAIRS = 20
_STEP_PCT, _MOST_PCT = 0.25, 12.0


def drift_pct(X: WearRecords, order: np.ndarray) -> float:
    """Root mean square movement of bands in 1,000 km, % of travel; 0 where none is shown.

    The squared distance between two tests' drop-outs is their error of travel twice, and rises
    with the square of the km between them. One standard error of that rise is left out, so that
    bands that stand still are hardly ever taken to move.
    """
    rows = order[(X.counts.sum(axis=1) >= LEAST_DROPOUTS)[order]]
    life = pd.factorize(X.tests["life_id"].iloc[rows])[0]
    age = X.tests["sensor_age_km"].to_numpy(float)[rows]
    middle = _middles(X.counts[rows])
    pair = np.flatnonzero(life[1:] == life[:-1])
    km, apart = (np.diff(v)[pair] for v in (age / 1000.0, middle))
    same = np.abs(apart) <= SAME_PCT
    if same.sum() < FEWEST_PAIRS:
        return 0.0
    x, y = km[same] ** 2, apart[same] ** 2
    away = x - x.mean()
    square = float(away @ away)
    if square < 1e-9:
        return 0.0
    rise = float(away @ y) / square
    left = y - y.mean() - rise * away
    error = float(np.sqrt((left**2 * away**2).sum())) / square
    return float(np.sqrt(max(rise - error, 0.0)))


def _middles(counts: np.ndarray) -> np.ndarray:
    """Middle of each row's heaviest stretch of five bins."""
    bins = counts.shape[1]
    padded = np.pad(counts, ((0, 0), (2, 2)))
    best = sum(padded[:, k : k + bins] for k in range(5)).argmax(axis=1)
    near = np.abs(np.arange(bins) - best[:, None]) <= 2
    own = np.where(near, counts, 0.0)
    return (own @ bin_middles()) / np.maximum(own.sum(axis=1), 1e-9)


def blurred(place: np.ndarray, off_pct: np.ndarray) -> np.ndarray:
    """Chances of places when each row may be off by so much more (1 sigma), shape of ``place``."""
    step = np.minimum(np.round(off_pct / _STEP_PCT), _MOST_PCT / _STEP_PCT).astype(int)
    if not step.any():
        return place
    out = place.copy()
    for turn in np.unique(step[step > 0]):
        rows = step == turn
        out[rows] = by_row(place[rows], _kernel(int(turn)))
    return out


@lru_cache(maxsize=64)
def _kernel(steps: int) -> np.ndarray:
    """Chance of each place (column) by one read (row); beyond a stop is at the stop."""
    edge = np.append(CENTRES_PCT - 0.5, CENTRES_PCT[-1] + 0.5)
    below = norm.cdf((edge - CENTRES_PCT[:, None]) / (steps * _STEP_PCT))
    below[:, 0], below[:, -1] = 0.0, 1.0
    return np.diff(below, axis=1)
