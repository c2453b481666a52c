"""Roughness beyond the recording's own noise: grain of a worn or dirty track.

In every 1 % window of travel the squared departures from the local line are added up over the
passes. A sound track gives the same mean square everywhere, that of the recording's noise, for
which the median over the travel stands; a rough stretch gives more. The excess is scanned in
stretches of 2 and 4 % and stated as a z score: for white noise a sum of n squares has the
standard deviation sqrt(2 n) in units of the mean square (chi-square).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from models.sweeps.windows import WINDOWS, Windows

STRETCHES = (2, 4)  # windows scanned together
EDGE = 2  # windows at each stop left out: settling there is no grain
LEAST_SAMPLES = 12  # samples that a stretch needs


@dataclass(frozen=True)
class Grain:
    """Per sweep, NaN where it cannot be had: shape (k,).

    excess_pct : rms of the grain beyond the noise in the roughest stretch, % of applied.
    z : how far beyond chance. travel_pct : middle of that stretch.
    """

    excess_pct: np.ndarray
    z: np.ndarray
    travel_pct: np.ndarray


def find_grain(windows: Windows, sweeps: int) -> Grain:
    """Scan the travel of every sweep for its roughest stretch."""
    counted = np.where(np.isfinite(windows.height), windows.count, 0)
    power = windows.per_sweep(np.add, windows.power.astype(float), sweeps)
    count = windows.per_sweep(np.add, counted, sweeps)
    power, count = power[:, EDGE:-EDGE], count[:, EDGE:-EDGE]
    noise = _typical(power, count)
    best, excess, at = (np.full(sweeps, np.nan) for _ in range(3))
    for length in STRETCHES:
        p, n = _summed(power, length), _summed(count, length)
        enough = n >= LEAST_SAMPLES
        with np.errstate(divide="ignore", invalid="ignore"):
            z = np.where(enough, (p / noise[:, None] - n) / np.sqrt(2.0 * n), -np.inf)
            rms = np.sqrt(np.maximum(p / n - noise[:, None], 0.0))
        rows, place = np.arange(sweeps), z.argmax(axis=1)
        top = z[rows, place]
        better = np.isfinite(top) & ~(top <= best)
        best[better], excess[better] = top[better], rms[rows, place][better]
        at[better] = (place + EDGE + 0.5 * length)[better] * 100.0 / WINDOWS
    return Grain(excess, best, at)


def _typical(power: np.ndarray, count: np.ndarray) -> np.ndarray:
    """Median over the travel of the mean square in a window."""
    with np.errstate(divide="ignore", invalid="ignore"):
        square = np.where(count > 0, power / count, np.nan)
    square.sort(axis=1)
    known = np.isfinite(square).sum(axis=1)
    middle = square[np.arange(square.shape[0]), np.maximum(known - 1, 0) // 2]
    return np.where(known > 0, np.maximum(middle, 1e-12), np.nan)


def _summed(values: np.ndarray, length: int) -> np.ndarray:
    total = np.cumsum(values, axis=1)
    out = total[:, length - 1 :].copy()
    out[:, 1:] -= total[:, :-length]
    return out
