"""Where on the travel each block of a sweep stands.

With a channel that knows the position, that is it. Without, the output itself is read back: the
stops are where the hand turned round farthest out, and between them the output is taken to
follow the travel in a straight line. What the track's own departure from that line adds is not
seen in one channel; ``LINEARITY_PCT`` allows for it.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import numpy as np

from models.sweeps.grouped import group_table
from models.sweeps.passes import Coarse

LINEARITY_PCT = 0.6  # 1 sigma of the track's departure from a straight line (common practice:
# conductive-plastic tracks are sold to 1 to 2 %, no source), % of travel
LONE_STOP_PCT = 0.8  # uncertainty of a stop visited once, % of travel
STOP_SPREAD = 0.015  # visits within this share of the range of the farthest are at the stop
BEYOND_PCT = 5.0  # a position channel reads no farther beyond a stop
CHANNEL_PCT = 0.2  # uncertainty of a position channel, % of travel (assumed)


@dataclass(frozen=True)
class Stops:
    """Output at the stops, % of applied, and how sure (1 sigma, % of travel): shape (k,) each.

    NaN in sweeps whose stops are not known.
    """

    closed: np.ndarray
    open: np.ndarray
    error_pct: np.ndarray


@dataclass(frozen=True)
class Visits:
    """Output where sweeps turn, % of applied.

    first, last : shape (k,), NaN without. ascending : shape (k, most turns of a sweep), filled up
    with NaN. count : turns of each sweep.
    """

    first: np.ndarray
    last: np.ndarray
    ascending: np.ndarray
    count: np.ndarray


def visits_of(levels: np.ndarray, turns: list[np.ndarray]) -> Visits:
    """Levels at the turns; ``turns`` are places in ``levels``, one array a sweep."""
    count = np.array([at.size for at in turns])
    starts = np.concatenate([[0], np.cumsum(count)])
    values = levels[np.concatenate(turns)].astype(float)
    held = np.append(values, np.nan)
    empty = count == 0
    first = np.where(empty, np.nan, held[np.minimum(starts[:-1], values.size)])
    last = np.where(empty, np.nan, held[starts[1:] - 1])
    return Visits(first, last, group_table(values, starts), count)


def stops_of(visits: Visits, rising: np.ndarray, known: np.ndarray) -> Stops:
    """Stops from the output at the turning points; NaN where a sweep never turned or not known."""
    table, rows = visits.ascending, np.arange(visits.count.size)
    lowest, highest = table[:, 0], table[rows, np.maximum(visits.count - 1, 0)]
    reach = STOP_SPREAD * (highest - lowest)
    at_low = table <= (lowest + reach)[:, None]
    at_high = table >= (highest - reach)[:, None]
    low = _middle(table, np.zeros_like(visits.count), at_low.sum(axis=1))
    above = at_high.sum(axis=1)
    high = _middle(table, np.maximum(visits.count - above, 0), above)
    error = 0.5 * np.hypot(
        _stop_error(table, at_low, high - low), _stop_error(table, at_high, high - low)
    )
    error = np.hypot(error, LINEARITY_PCT)
    known = known & (visits.count >= 2)
    closed, opened = np.where(rising, low, high), np.where(rising, high, low)
    return Stops(*(np.where(known, v, np.nan) for v in (closed, opened, error)))


def _middle(table: np.ndarray, begin: np.ndarray, count: np.ndarray) -> np.ndarray:
    """Median of ``count`` entries of each ascending row from ``begin``."""
    rows = np.arange(begin.size)
    return 0.5 * (
        table[rows, begin + np.maximum(count - 1, 0) // 2]
        + table[rows, np.minimum(begin + count // 2, table.shape[1] - 1)]
    )


def _stop_error(table: np.ndarray, chosen: np.ndarray, span: np.ndarray) -> np.ndarray:
    """Standard error of a stop from the spread of its visits, % of travel."""
    count = chosen.sum(axis=1)
    mean = np.where(chosen, table, 0.0).sum(axis=1) / np.maximum(count, 1)
    off = np.where(chosen, table - mean[:, None], 0.0)
    square = (off**2).sum(axis=1) / np.maximum(count - 1, 1)
    with np.errstate(divide="ignore", invalid="ignore"):
        error = 100.0 * np.sqrt(square / np.maximum(count, 1)) / span
    return np.where(count < 2, LONE_STOP_PCT, error)


def rising_output(visits: Visits, declared: list[str | None]) -> tuple[np.ndarray, np.ndarray]:
    """Whether the output rises with opening, and whether that contradicts the part's data.

    A throttle rests closed, so a sweep begins there, and most end there. Where it begins and ends
    at the same end, that end is the closed stop: this stands above the part's data, and the
    contradiction is reported.
    """
    rows = np.arange(visits.count.size)
    highest = visits.ascending[rows, np.maximum(visits.count - 1, 0)]
    middle = 0.5 * (visits.ascending[:, 0] + highest)
    begins_low, ends_low = visits.first < middle, visits.last < middle
    clear = (begins_low == ends_low) & (visits.count >= 2)
    given = np.array([d in ("rising", "falling") for d in declared], dtype=bool)
    expected = np.array([d == "rising" for d in declared], dtype=bool)
    total = np.nansum(visits.ascending, axis=1)
    below_mean = visits.first < total / np.maximum(visits.count, 1)
    rising = np.where(clear, begins_low, np.where(given, expected, below_mean))
    return rising, clear & given & (begins_low != expected)


def channel_position(travel_pct: np.ndarray, bounds: np.ndarray) -> np.ndarray:
    """A position channel at every sample, %; NaN in sweeps mostly without it.

    Positions well beyond the stops are unreadable and filled in between their neighbours; slightly
    beyond, they are held at the stop.
    """
    out = np.full(travel_pct.size, np.nan)
    for begin, end in itertools.pairwise(bounds.tolist()):
        part = travel_pct[begin:end]
        known = np.flatnonzero((part >= -BEYOND_PCT) & (part <= 100.0 + BEYOND_PCT))
        if known.size > 0.9 * part.size:
            filled = np.interp(np.arange(part.size), known, part[known])
            out[begin:end] = np.clip(filled, 0.0, 100.0)
    return out


def on_blocks(position_pct: np.ndarray, coarse: Coarse, bounds: np.ndarray) -> np.ndarray:
    """Position at the middle of each block of the coarse copy, %; NaN in sweeps without."""
    at = np.interp(coarse.place, np.arange(position_pct.size), np.nan_to_num(position_pct))
    known = np.isfinite(position_pct[bounds[:-1]])
    return np.where(np.repeat(known, np.diff(coarse.bounds)), at, np.nan)


def block_travel(coarse: Coarse, stops: Stops) -> np.ndarray:
    """Estimated travel of each block, %; NaN in sweeps without stops."""
    sizes = np.diff(coarse.bounds)
    low, scale = stops.closed, 100.0 / (stops.open - stops.closed)
    out = (coarse.level - np.repeat(low, sizes)) * np.repeat(scale, sizes)
    return np.clip(out, 0.0, 100.0, out=out)
