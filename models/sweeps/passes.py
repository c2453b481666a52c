"""Passes: the strokes between the turning points of a sweep, found on a coarse copy of it.

A turn counts when the hand comes back by more than a few per cent of the travel, so that tremor
and pauses make no pass. Resting at a stop belongs to no pass.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import numpy as np

COARSE_S = 0.04  # length of a block whose mean makes one point of the coarse copy
TURN_SHARE = 0.03  # share of the range by which the hand must come back to make a turn
REST_SHARE = 0.008  # within this share of the range of a turning point the hand rests there
LEAST_RANGE_PCT = 4.0  # a sweep that moves less, % of applied, has no passes


@dataclass(frozen=True)
class Coarse:
    """Sweeps in blocks, one behind the other: sweep i is ``bounds[i]:bounds[i + 1]``.

    t_s, level : mean time and value of a block. place : its middle in samples of the sweeps.
    """

    bounds: np.ndarray
    t_s: np.ndarray
    level: np.ndarray
    place: np.ndarray


@dataclass(frozen=True)
class Strokes:
    """Passes of sweeps, one behind the other in order of time, shape (p,) each.

    first, last : blocks of the coarse copy. sign : +1 where the level rises. turns : per sweep,
    the blocks at which it turns, with the first and the last.
    """

    sweep: np.ndarray
    first: np.ndarray
    last: np.ndarray
    sign: np.ndarray
    turns: list[np.ndarray]

    def __len__(self) -> int:
        return self.first.size


def coarse_copy(t_s: np.ndarray, y: np.ndarray, bounds: np.ndarray, step_s: np.ndarray) -> Coarse:
    """Block means of about 40 ms; a single sample where the rate is lower."""
    block = np.maximum(1, np.round(COARSE_S / step_s)).astype(np.int64)
    sizes = np.diff(bounds)
    counts = np.maximum(1, sizes // block)
    coarse_bounds = np.concatenate([[0], np.cumsum(counts)])
    owner = np.repeat(np.arange(sizes.size), counts)
    starts = bounds[:-1][owner] + (np.arange(owner.size) - coarse_bounds[owner]) * block[owner]
    ends = np.append(starts[1:], bounds[-1])
    size = ends - starts
    level = np.add.reduceat(y, starts, dtype=np.float64) / size
    return Coarse(
        coarse_bounds, 0.5 * (t_s[starts] + t_s[ends - 1]), level, starts + 0.5 * (size - 1)
    )


def find_strokes(coarse: Coarse, values: np.ndarray | None = None) -> Strokes:
    """Strokes between turning points.

    Parameters
    ----------
    coarse : Coarse
        The sweeps in blocks.
    values : array like ``coarse.level``, optional
        What to find the turns in, where not the level (another channel's travel).
    """
    values = coarse.level if values is None else values
    turns = _turning_points(values, coarse.bounds)
    legs = [max(at.size - 1, 0) for at in turns]
    sweep = np.repeat(np.arange(len(turns)), legs)
    if not sweep.size:
        nothing = np.zeros(0, dtype=np.int64)
        return Strokes(nothing, nothing, nothing, nothing, turns)
    begin = np.concatenate([at[:-1] for at in turns])
    end = np.concatenate([at[1:] for at in turns])
    span = _span(values, coarse.bounds)[sweep]
    first, last = _trimmed(values, begin, end, REST_SHARE * span)
    moving = last > first
    sign = np.where(values[end] > values[begin], 1, -1)
    return Strokes(sweep[moving], first[moving], last[moving], sign[moving], turns)


def _span(values: np.ndarray, bounds: np.ndarray) -> np.ndarray:
    return np.maximum.reduceat(values, bounds[:-1]) - np.minimum.reduceat(values, bounds[:-1])


def _turning_points(values: np.ndarray, bounds: np.ndarray) -> list[np.ndarray]:
    """Per sweep the places of the extremes that are more than the turn's share apart."""
    span = _span(values, bounds)
    extremes = _local_extremes(values, bounds, np.maximum(0.01 * span, 1e-9))
    cuts = np.searchsorted(extremes, bounds)
    turns = []
    for i, (begin, end) in enumerate(itertools.pairwise(bounds.tolist())):
        pivots = []
        if span[i] >= LEAST_RANGE_PCT:
            pivots = _zigzag(values, extremes[cuts[i] : cuts[i + 1]], TURN_SHARE * span[i])
        turns.append(_exact(values, pivots, begin, end))
    return turns


def _exact(values: np.ndarray, pivots: list[int], begin: int, end: int) -> np.ndarray:
    """The very extremes near the pivots, the first and last leg drawn out to the sweep's ends."""
    if len(pivots) < 2:
        return np.zeros(0, dtype=int)
    rising = values[pivots[1]] > values[pivots[0]]
    edges = [begin, *pivots[1:-1], end - 1]
    exact = []
    for k in range(len(edges)):
        low, high = edges[max(k - 1, 0)], edges[min(k + 1, len(edges) - 1)]
        part = values[low : high + 1]
        exact.append(low + int(part.argmax() if rising == (k % 2 == 1) else part.argmin()))
    return np.array(exact)


def _zigzag(values: np.ndarray, places: np.ndarray, least: float) -> list[int]:
    """Pivots of a zigzag with legs of at least ``least``, from the extremes at ``places``."""
    sequence = list(zip(places.tolist(), values[places].tolist(), strict=True))
    high = low = best = sequence[0]
    pivots, way = [], 0
    for point in sequence[1:]:
        if way == 0:
            high, low = max(high, point, key=_value), min(low, point, key=_value)
            if high[1] - low[1] >= least:
                way = 1 if low[0] < high[0] else -1
                pivots.append(min(high, low)[0])
                best = point
        elif way * (point[1] - best[1]) >= 0:
            best = point
        elif way * (best[1] - point[1]) >= least:
            pivots.append(best[0])
            way, best = -way, point
    return [*pivots, best[0]] if way else []


def _value(point: tuple[int, float]) -> float:
    return point[1]


def _local_extremes(values: np.ndarray, bounds: np.ndarray, grid: np.ndarray) -> np.ndarray:
    """Places of local extremes after rounding to a grid, with each sweep's first and last."""
    rounded = np.rint(values / np.repeat(grid, np.diff(bounds)))
    change = np.diff(rounded, prepend=np.nan) != 0
    change[bounds[:-1]] = True
    kept = np.flatnonzero(change)
    way = np.sign(np.diff(rounded[kept]))
    turn = np.ones(kept.size, dtype=bool)
    turn[1:-1] = way[1:] != way[:-1]
    ends = np.concatenate(
        [bounds[:-1], bounds[1:] - 1, kept[np.searchsorted(kept, bounds[1:]) - 1]]
    )
    marked = np.zeros(values.size, dtype=bool)
    marked[kept[turn]] = True
    marked[ends] = True
    return np.flatnonzero(marked)


def _trimmed(
    values: np.ndarray, begin: np.ndarray, end: np.ndarray, rest: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """The moving part of legs: from the last block at rest at the begin to the first at the end."""
    sizes = end - begin + 1
    starts = np.cumsum(sizes) - sizes
    owner = np.repeat(np.arange(begin.size), sizes)
    at = begin[owner] + np.arange(owner.size) - starts[owner]
    near_begin = np.abs(values[at] - values[begin][owner]) <= rest[owner]
    near_end = np.abs(values[at] - values[end][owner]) <= rest[owner]
    first = np.maximum.reduceat(np.where(near_begin, at, -1), starts)
    last = np.minimum.reduceat(np.where(near_end, at, values.size), starts)
    return first, last
