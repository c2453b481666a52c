"""Drop-outs that are no wear: seen once at a place of one sensor and never again.

A worn spot shows on most passes. Noise, a knocked lead or a slip of the hand leaves a single
drop-out anywhere on the travel. Their rate is read where the fewest such lone drop-outs stand, so
that young wear is not taken for them.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.stats import gamma

LONE_BINS = 2  # no other drop-out of the sensor within so many bins, in any of its tests
STRETCHES = 5  # the travel is compared in so many stretches of equal length
_SENSORS_AT_ONCE = 10_000  # whose neighbourhoods are laid out at a time, for the memory


@dataclass(frozen=True)
class Strays:
    """rate : lone drop-outs a pass and bin. count : how many the rate rests on."""

    rate: float
    count: float

    def interval(self, level: float) -> tuple[float, float]:
        """Gamma interval of the rate."""
        if self.rate <= 0.0:
            return 0.0, 0.0
        shape = self.count + 0.5
        low, high = gamma.ppf([0.5 - level / 2.0, 0.5 + level / 2.0], shape)
        return float(self.rate * low / shape), float(self.rate * high / shape)


def stray_rate(own: np.ndarray, reach: np.ndarray) -> tuple[Strays, np.ndarray]:
    """Rate of lone drop-outs, and which share of each sensor's drop-outs they are.

    Parameters
    ----------
    own, reach : arrays of shape (sensors, bins)
        Each sensor's drop-outs over all its tests, and exposure.

    Returns
    -------
    Strays, and an array of shape (sensors, bins): the chance that the drop-out there is a stray;
    0 where it is not alone.
    """
    lone = np.zeros(own.shape, dtype=bool)
    for begin in range(0, len(own), _SENSORS_AT_ONCE):
        some = slice(begin, begin + _SENSORS_AT_ONCE)
        lone[some] = (own[some] == 1.0) & (_within(own[some], LONE_BINS) == 1.0)
    many, seen = (v.sum(axis=0, dtype=float) for v in (lone, reach))
    stretch = np.arange(own.shape[1]) * STRETCHES // own.shape[1]
    found, passes = np.bincount(stretch, many), np.bincount(stretch, seen)
    usable = passes > 0.25 * passes.max()
    rate = (found + 0.5) / np.maximum(passes, 1e-9)
    least = int(np.argmin(np.where(usable, rate, np.inf)))
    strays = Strays(float(rate[least]), float(found[least]))
    near_lone, near_seen = (_within(v[None, :], LONE_BINS)[0] for v in (many, seen))
    chance = np.minimum(1.0, strays.rate * near_seen / np.maximum(near_lone, 1e-9))
    return strays, lone * chance


def _within(values: np.ndarray, bins: int) -> np.ndarray:
    """Sum over the bins within a distance, shape of ``values``."""
    padded = np.pad(np.cumsum(values, axis=1), ((0, 0), (bins + 1, bins)), mode="edge")
    padded[:, : bins + 1] = 0.0
    width = 2 * bins + 1
    return padded[:, width:] - padded[:, :-width]
