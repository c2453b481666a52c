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
    level = np.add.reduceat(y, starts) / size
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
    cuts, places, heights = cuts.tolist(), extremes.tolist(), values[extremes].tolist()
    edges, peaks = [], []
    for i, (begin, end) in enumerate(itertools.pairwise(bounds.tolist())):
        if span[i] < LEAST_RANGE_PCT:
            edges.append([])
            continue
        own = slice(cuts[i], cuts[i + 1])
        pivots, way = _zigzag(places[own], heights[own], TURN_SHARE * float(span[i]))
        edges.append([begin, *pivots[1:-1], end - 1] if pivots else [])
        peaks += [(k % 2 == 1) == (way > 0) for k in range(len(pivots))]
    counts = [len(e) for e in edges]
    exact = _exact(values, list(itertools.chain.from_iterable(edges)), counts, peaks)
    return np.split(exact, np.cumsum(counts)[:-1])


def _exact(
    values: np.ndarray, edges: list[int], counts: list[int], peaks: list[bool]
) -> np.ndarray:
    """The very extremes between the edges before and behind each edge of a sweep.

    ``counts`` says how many of the edges belong to each sweep, ``peaks`` which are maxima.
    """
    edges, peaks = np.array(edges, dtype=np.int64), np.array(peaks, dtype=bool)
    turning = np.array([n for n in counts if n], dtype=np.int64)
    lasts = np.cumsum(turning) - 1
    firsts = lasts + 1 - turning
    low, high = edges.copy(), edges.copy()
    low[1:], high[:-1] = edges[:-1], edges[1:]
    low[firsts], high[lasts] = edges[firsts], edges[lasts]
    out = np.zeros(edges.size, dtype=np.int64)
    for extreme, chosen in ((np.maximum, peaks), (np.minimum, ~peaks)):
        begin, sizes = low[chosen], (high - low + 1)[chosen]
        owner = np.repeat(np.arange(sizes.size), sizes)
        starts = np.cumsum(sizes) - sizes
        part = values[np.arange(owner.size) + (begin - starts)[owner]]
        if part.size:
            hits = np.flatnonzero(part == extreme.reduceat(part, starts)[owner])
            out[chosen] = hits[np.searchsorted(hits, starts)] - starts + begin
    return out


def _zigzag(places: list[int], heights: list[float], least: float) -> tuple[list[int], int]:
    """Pivots of a zigzag with legs of at least ``least``, and +1 where its first leg rises."""
    sequence = list(zip(places, heights, strict=True))
    high = low = best = sequence[0]
    pivots, way, first = [], 0, 0
    for point in sequence[1:]:
        if way == 0:
            high, low = max(high, point, key=_value), min(low, point, key=_value)
            if high[1] - low[1] >= least:
                way = first = 1 if low[0] < high[0] else -1
                pivots.append(min(high, low)[0])
                best = point
        elif way * (point[1] - best[1]) >= 0:
            best = point
        elif way * (best[1] - point[1]) >= least:
            pivots.append(best[0])
            way, best = -way, point
    return ([*pivots, best[0]] if way else []), first


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
