"""Sampling interval, noise and plain statistics of each sweep, from a strided sub-sample.

The noise is the sensor's and logger's own: second differences take out the hand's steady motion,
their median takes out drop-outs. For white noise of sigma, y[i] - 2 y[i+1] + y[i+2] has the
standard deviation sqrt(6) sigma, and its median magnitude is 0.6745 of that.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

SUBSAMPLE = 256  # places looked at per sweep: the median's own error is then about 7 %
_SECOND = 0.6745 * np.sqrt(6.0)


@dataclass(frozen=True)
class Clock:
    """Sampling of each sweep: typical interval, greatest interval and duration, s, shape (k,)."""

    step_s: np.ndarray
    widest_s: np.ndarray
    duration_s: np.ndarray

    @property
    def even(self) -> np.ndarray:
        """Whether the samples come evenly enough to treat places as times."""
        return self.widest_s < 1.05 * self.step_s


def clocks(t_s: np.ndarray, bounds: np.ndarray) -> Clock:
    """Sampling of sweeps laid one behind the other, each of at least two samples."""
    begin, last = bounds[:-1], bounds[1:] - 1
    duration = t_s[last] - t_s[begin]
    step = duration / (last - begin)
    widest = np.empty_like(step)
    for i, (first, end) in enumerate(zip(begin.tolist(), last.tolist(), strict=True)):
        gaps = t_s[first + 1 : end + 1] - t_s[first:end]
        widest[i] = gaps.max()
        if widest[i] > 1.5 * step[i]:
            step[i] = np.median(gaps)
    step = np.maximum(step, np.finfo(float).tiny)
    return Clock(step, widest, duration)


def strided(bounds: np.ndarray, span: int = 1) -> np.ndarray:
    """Evenly spread places in each sweep, shape (k, SUBSAMPLE), ``span`` samples from its end."""
    room = np.maximum(np.diff(bounds) - span, 1)
    share = np.arange(SUBSAMPLE) / SUBSAMPLE
    return bounds[:-1, None] + (share * room[:, None]).astype(np.int64)


def noise_sigma(y: np.ndarray, bounds: np.ndarray) -> np.ndarray:
    """One-sigma noise of each sweep in the units of y, not below its quantisation's, shape (k,).

    The smallest step between neighbouring readings is taken for the quantisation step q, whose
    uniform error has the standard deviation q / sqrt(12).
    """
    at = strided(bounds, span=3)
    first = y[at + 1] - y[at]
    bend = np.abs(y[at + 2] - y[at + 1] - first)
    half = SUBSAMPLE // 2
    middle = np.partition(bend, half, axis=1)[:, half]
    steps = np.abs(first)
    least = np.where(steps > 1e-4, steps, np.inf).min(axis=1)
    step = np.where(np.isfinite(least), least, 0.0)
    return np.maximum(middle / _SECOND, np.minimum(step, 1.0) / np.sqrt(12.0))


def spread(values: np.ndarray, bounds: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Robust least and greatest reading of each sweep (2nd and 98th percentile), shape (k,)."""
    seen = np.sort(values[strided(bounds)], axis=1)
    edge = SUBSAMPLE // 50
    return seen[:, edge], seen[:, -1 - edge]
