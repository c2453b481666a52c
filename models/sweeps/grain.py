"""Roughness beyond the recording's own noise: grain and lowered output of a worn or dirty track.

Two signs are looked for together in stretches of 1 to 6 % of travel, over all passes at once.

Grain. In every 1 % window the squared departures from the local line are added up over the
passes. A sound track gives the same mean square everywhere, that of the recording's noise, for
which the median over the travel stands; a rough stretch gives more. The excess is a z score: for
white noise a sum of n squares has the standard deviation sqrt(2 n) in units of the mean square
(chi-square).

Sag. Contact resistance only ever adds, so under a load it lowers the output over the whole rough
stretch. The hand hides so small a step in one pass; but what stands at the same travel in every
pass adds up, and what the hand does averages out. Departures of the coarse copy's blocks from a
wider line are averaged over the passes at equal travel and laid against the course that such a
stretch would leave there. Its z score counts in part and up to a limit, so that a sound track
with an uneven output is never called rough for that alone.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np

from models.sweeps.passes import Coarse, Strokes
from models.sweeps.windows import WINDOWS, Windows

STRETCHES = {1: 1.5, 2: 1.5, 3: 3.0, 4: 3.0, 6: 5.0}  # windows scanned together: width of sag, %
EDGE = 2  # windows at each stop left out: settling there is no grain
LEAST_SAMPLES = 12  # samples that a stretch needs
SAG_WEIGHT = 1.0  # share of the sag's z that counts (tuned on simulated sweeps) ...
MOST_SAG_Z = 6.0  # ... up to this
LINE_BLOCKS = 5  # blocks to either side that draw the wider line, a parabola
ENDS_BLOCKS = 3  # blocks left out at either end of a pass besides
SPEEDS_PCT = (0.4, 0.57, 0.8, 1.13, 1.6)  # travel per block, classes; outside, no sag is looked for
REACH = 10  # windows to either side that a sag's course is worked out for
_FINE = 10  # steps in a window when working it out


@dataclass(frozen=True)
class Grain:
    """Per sweep, NaN where it cannot be had: shape (k,).

    excess_pct : rms of the grain beyond the noise in the roughest stretch, % of applied.
    z : how far beyond chance. travel_pct : middle of that stretch.
    """

    excess_pct: np.ndarray
    z: np.ndarray
    travel_pct: np.ndarray


def find_grain(
    windows: Windows, coarse: Coarse, travel_pct: np.ndarray, strokes: Strokes, sweeps: int
) -> Grain:
    """Scan the travel of every sweep for its roughest stretch.

    ``coarse`` and ``travel_pct`` are the blocks and their travel, as for ``cut_windows``.
    """
    counted = np.where(np.isfinite(windows.height), windows.count, 0)
    power = windows.per_sweep(np.add, windows.power.astype(float), sweeps)[:, EDGE:-EDGE]
    count = windows.per_sweep(np.add, counted, sweeps)[:, EDGE:-EDGE]
    sags = _sag_z(coarse, travel_pct, strokes, sweeps)
    noise = _typical(power, count)
    rows = np.arange(sweeps)
    best, excess, at = (np.full(sweeps, np.nan) for _ in range(3))
    for length, width in STRETCHES.items():
        p, n = _summed(power, length), _summed(count, length)
        with np.errstate(divide="ignore", invalid="ignore"):
            z = np.where(n >= LEAST_SAMPLES, (p / noise[:, None] - n) / np.sqrt(2.0 * n), -np.inf)
        z += _over_stretch(sags[width], length)
        place = z.argmax(axis=1)
        top, square, size = z[rows, place], p[rows, place], n[rows, place]
        better = np.isfinite(top) & ~(top <= best)
        best[better] = top[better]
        rms = np.sqrt(np.maximum(square / np.maximum(size, 1) - noise, 0.0))
        excess[better] = rms[better]
        at[better] = (place + EDGE + 0.5 * length)[better] * 100.0 / WINDOWS
    return Grain(excess, best, at)


def _over_stretch(sag: np.ndarray, length: int) -> np.ndarray:
    """What a sag in the middle of each stretch of windows adds to its z."""
    low, high = (length - 1) // 2, length // 2
    inner = sag[:, EDGE:-EDGE]
    last = inner.shape[1] - (length - 1)
    if low == high:
        return inner[:, low : low + last]
    return np.maximum(inner[:, low : low + last], inner[:, high : high + last])


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


def _sag_z(
    coarse: Coarse, travel_pct: np.ndarray, strokes: Strokes, sweeps: int
) -> dict[float, np.ndarray]:
    """Weighted z of a sag of each width about every window, 0 without: shape (sweeps, WINDOWS)."""
    mean, count, speed = _averaged(coarse, travel_pct, strokes, sweeps)
    root = np.sqrt(count)
    spread = np.where(count > 0, np.abs(mean) * root, np.nan)
    sigma = 1.4826 * _middle(spread)
    out = {w: np.zeros((sweeps, WINDOWS), dtype=np.float32) for w in set(STRETCHES.values())}
    step = np.log(SPEEDS_PCT[1] / SPEEDS_PCT[0])
    with np.errstate(divide="ignore", invalid="ignore"):
        kind = np.rint(np.log(speed / SPEEDS_PCT[0]) / step)
    for number, pct in enumerate(SPEEDS_PCT):
        chosen = np.flatnonzero((kind == number) & (sigma > 0))
        for width in out:
            course = _course(width, pct)
            fit = _beside(course, (mean * count)[chosen])
            room = np.sqrt(np.maximum(_beside(course * course, count[chosen]), 1e-9))
            z = SAG_WEIGHT * fit / (room * sigma[chosen, None])
            out[width][chosen] = np.clip(z, 0.0, MOST_SAG_Z)
    return out


def _beside(course: np.ndarray, values: np.ndarray) -> np.ndarray:
    """Sum about each window of what is read in the windows beside it, weighted by ``course``.

    Window by window rather than as a product of matrices, whose last digit hangs on how many
    sweeps are measured together.
    """
    total = np.zeros(values.shape, dtype=np.float32)
    for away, weight in enumerate(course.tolist(), -REACH):
        read = slice(max(away, 0), WINDOWS + min(away, 0))
        sits = slice(max(-away, 0), WINDOWS - max(away, 0))
        total[:, sits] += np.float32(weight) * values[:, read]
    return total


def _middle(values: np.ndarray) -> np.ndarray:
    """Median of each row's finite values, the lower of two; NaN without any."""
    ordered = np.sort(values, axis=1)
    known = np.isfinite(ordered).sum(axis=1)
    return ordered[np.arange(ordered.shape[0]), np.maximum(known - 1, 0) // 2]


def _averaged(
    coarse: Coarse, travel_pct: np.ndarray, strokes: Strokes, sweeps: int
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Mean departure of the blocks in each window over all passes, how many, and the speed.

    Shapes (sweeps, WINDOWS) twice and (sweeps,), % of travel per block.
    """
    margin = LINE_BLOCKS + ENDS_BLOCKS
    blocks = strokes.last - strokes.first + 1
    moved = np.abs(travel_pct[strokes.last] - travel_pct[strokes.first])
    usable = np.flatnonzero((blocks > 2 * margin + LINE_BLOCKS) & np.isfinite(moved))
    sweep, sizes = strokes.sweep[usable], blocks[usable] - 2 * margin
    starts = np.cumsum(sizes) - sizes
    at = np.arange(sizes.sum()) + np.repeat(strokes.first[usable] + margin - starts, sizes)
    cell = np.repeat(sweep * WINDOWS, sizes)
    cell += np.minimum(travel_pct[at] * (WINDOWS / 100.0), WINDOWS - 1).astype(np.int64)
    rest = _off_wide_line(coarse.level)[at]
    count = np.bincount(cell, minlength=sweeps * WINDOWS).astype(np.float32)
    total = np.bincount(cell, rest, minlength=sweeps * WINDOWS).astype(np.float32)
    with np.errstate(divide="ignore", invalid="ignore"):
        speed = np.bincount(sweep, moved[usable], minlength=sweeps) / np.bincount(
            sweep, blocks[usable], minlength=sweeps
        )
    mean = total / np.maximum(count, 1.0)
    return mean.reshape(sweeps, -1), count.reshape(sweeps, -1), speed


@cache
def _weights() -> np.ndarray:
    """Weights that take a parabola over LINE_BLOCKS to either side off the middle block."""
    design = np.vander(np.arange(-LINE_BLOCKS, LINE_BLOCKS + 1.0), 3)
    weights = -(design @ np.linalg.pinv(design))[LINE_BLOCKS]
    weights[LINE_BLOCKS] += 1.0
    return weights


def _off_wide_line(level: np.ndarray) -> np.ndarray:
    """Departure of each block from the wider line; meaningless near a sweep's ends."""
    if level.size <= 2 * LINE_BLOCKS:
        return np.zeros(level.size)
    return np.convolve(level, _weights(), "same")


@cache
def _course(width_pct: float, speed_pct: float) -> np.ndarray:
    """Mean departure that a sag leaves in the windows from REACH before it to REACH behind.

    A sag of that full width and unit depth with rounded edges, seen in blocks of ``speed_pct``
    travel, off the wider line, averaged over windows of 1 %: shape (2 * REACH + 1,).
    """
    away = np.arange(-2 * REACH * _FINE, 2 * REACH * _FINE + 1) / _FINE
    sag = np.exp(-np.minimum((2.0 * away / width_pct) ** 4, 50.0))
    block = max(1, round(speed_pct * _FINE))
    sag = np.convolve(sag, np.full(block, 1.0 / block), "same")
    left = np.zeros_like(sag)
    for number, weight in enumerate(_weights()):
        left -= weight * np.roll(sag, round((number - LINE_BLOCKS) * speed_pct * _FINE))
    left = np.convolve(left, np.full(_FINE, 1.0 / _FINE), "same")
    return np.interp(np.arange(-REACH, REACH + 1), away, left).astype(np.float32)
