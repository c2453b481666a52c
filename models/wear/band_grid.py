"""What a worn band would look like in the travel bins, for every place, width and strength."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from scipy.special import ndtr

from models.wear.exposure import BIN_PCT, BINS

CENTRES_PCT = np.arange(100) + 0.5
WIDTHS_PCT = np.array([1.2, 2.4, 4.0, 6.0])
LEVELS = np.array([0.0, 0.06, 0.2, 0.5, 1.2, 3.0])  # drop-outs a pass in the whole band
ROUGHENINGS = np.array([0.0, 0.25, 0.5, 1.0, 1.8, 3.2])  # beyond the sound track's 1
TRAVEL_ERROR_PCT = 0.65  # 1 sigma of where a sweep places a drop-out (as measured on sweeps)
SPOTS_WITHIN = 0.9  # spots lie within this share of the width (assumed)
_LEAST_SHARE = 1e-12  # of the full roughness
_EDGES = np.arange(BINS + 1) * BIN_PCT


@dataclass(frozen=True)
class BandGrid:
    """Tables over the shapes (every place with every width, G of them).

    centre, width : shape (G,). spread : share of the drop-outs in each bin, shape (G, BINS), each
    row adding up to 1. envelope : share of the full roughness in each bin, (G, BINS), at most 1.
    """

    centre: np.ndarray
    width: np.ndarray
    spread: np.ndarray
    envelope: np.ndarray

    @property
    def size(self) -> int:
        """Number of shapes."""
        return len(self.centre)


@lru_cache(maxsize=1)
def band_grid() -> BandGrid:
    """The grid; worked out once."""
    centre = np.repeat(CENTRES_PCT, len(WIDTHS_PCT))
    width = np.tile(WIDTHS_PCT, len(CENTRES_PCT))
    half = 0.5 * SPOTS_WITHIN * width
    below = _mean_below(_EDGES[None, :], (centre - half)[:, None], (centre + half)[:, None])
    below[:, 0], below[:, -1] = 0.0, 1.0  # what would lie beyond a stop is read at the stop
    fine = (np.arange(4 * BINS) + 0.5) * BIN_PCT / 4
    away = (fine - centre[:, None]) / (0.5 * width[:, None])
    envelope = np.exp(-np.minimum(away**4, 50.0)).reshape(len(centre), BINS, 4).mean(axis=2)
    # nought, not next to it: squares too small for a float slow every product thirtyfold
    envelope[envelope < _LEAST_SHARE] = 0.0
    return BandGrid(centre, width, np.diff(below, axis=1), envelope)


def _mean_below(edge: np.ndarray, low: np.ndarray, high: np.ndarray) -> np.ndarray:
    """Chance that a spot anywhere in [low, high], read with the error of travel, is below."""
    s = TRAVEL_ERROR_PCT

    def area(x: np.ndarray) -> np.ndarray:  # integral of the normal distribution function
        return x * ndtr(x / s) + s * np.exp(-0.5 * (x / s) ** 2) / np.sqrt(2.0 * np.pi)

    return (area(edge - low) - area(edge - high)) / (high - low)
