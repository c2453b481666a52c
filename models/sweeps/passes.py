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
    rows, turns = [], []
    for i, (begin, end) in enumerate(zip(coarse.bounds[:-1], coarse.bounds[1:], strict=True)):
        part = values[begin:end]
        at = _turning_points(part)
        turns.append(at + begin)
        span = float(np.ptp(part)) if part.size else 0.0
        for a, b in itertools.pairwise(at):
            stroke = _trimmed(part, a, b, REST_SHARE * span)
            if stroke is not None:
                rows.append(
                    (i, stroke[0] + begin, stroke[1] + begin, 1 if part[b] > part[a] else -1)
                )
    columns = np.array(rows, dtype=np.int64).reshape(-1, 4).T
    return Strokes(columns[0], columns[1], columns[2], columns[3], turns)


def _turning_points(values: np.ndarray) -> np.ndarray:
    """Places of the extremes between which the values move by more than the turn's share."""
    span = float(np.ptp(values)) if values.size else 0.0
    if not span >= LEAST_RANGE_PCT:
        return np.zeros(0, dtype=int)
    pivots = _zigzag(values, _local_extremes(values, 0.01 * span), TURN_SHARE * span)
    if len(pivots) < 2:
        return np.zeros(0, dtype=int)
    rising = values[pivots[1]] > values[pivots[0]]
    edges = [0, *pivots[1:-1], values.size - 1]
    exact = []
    for k, (before, after) in enumerate(
        zip([0, *edges[:-1]], [*edges[1:], edges[-1]], strict=True)
    ):
        part = values[before : after + 1]
        peak = rising == (k % 2 == 1)
        exact.append(before + int(np.argmax(part) if peak else np.argmin(part)))
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


def _local_extremes(values: np.ndarray, grid: float) -> np.ndarray:
    """Places of local extremes after rounding to a grid, with the first and the last."""
    rounded = np.rint(values / grid)
    kept = np.append(0, np.flatnonzero(np.diff(rounded)) + 1)
    way = np.sign(np.diff(rounded[kept]))
    inner = kept[1:-1][way[1:] != way[:-1]] if kept.size > 2 else kept[:0]
    return np.unique(np.concatenate([[0], inner, [kept[-1], values.size - 1]]))


def _trimmed(values: np.ndarray, a: int, b: int, rest: float) -> tuple[int, int] | None:
    """The moving part of a leg: from the last block at rest at a to the first at rest at b."""
    leg = values[a : b + 1]
    near_start = np.flatnonzero(np.abs(leg - leg[0]) <= rest)
    near_end = np.flatnonzero(np.abs(leg - leg[-1]) <= rest)
    first, last = int(near_start[-1]), int(near_end[0])
    return (a + first, a + last) if last > first else None
