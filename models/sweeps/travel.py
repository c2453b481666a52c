"""Where on the travel each block of a sweep stands.

With a channel that knows the position, that is it. Without, the output itself is read back: the
stops are where the hand turned round farthest out, and between them the output is taken to
follow the travel in a straight line. What the track's own departure from that line adds is not
seen in one channel; ``LINEARITY_PCT`` allows for it.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass

import numpy as np

from models.sweeps.passes import Coarse, Strokes

LINEARITY_PCT = 0.6  # 1 sigma of the track's departure from a straight line (common practice:
# conductive-plastic tracks are sold to 1 to 2 %, no source), % of travel
LONE_STOP_PCT = 0.8  # uncertainty of a stop visited once, % of travel
STOP_SPREAD = 0.015  # visits within this share of the range of the farthest are at the stop
BEYOND_PCT = 5.0  # a position channel reads no farther beyond a stop
CHANNEL_PCT = 0.2  # uncertainty of a position channel, % of travel (assumed)


@dataclass(frozen=True)
class Stops:
    """Output at the stops of one sweep, % of applied, how sure (1 sigma, % of travel), visits."""

    closed: float
    open: float
    error_pct: float
    visits_low: int = 0
    visits_high: int = 0

    def travel_pct(self, y: np.ndarray | float) -> np.ndarray:
        """Travel at an output in % of applied, held within 0 to 100."""
        return np.clip(100.0 * (np.asarray(y) - self.closed) / (self.open - self.closed), 0, 100)


def stops_of(levels: np.ndarray, rising: bool) -> Stops | None:
    """Stops from the output at the turning points of one sweep; None where it never turned."""
    if levels.size < 2:
        return None
    visits = sorted(levels.tolist())  # a handful: plain floats are faster than arrays here
    reach = STOP_SPREAD * (visits[-1] - visits[0])
    at_low = [v for v in visits if v <= visits[0] + reach]
    at_high = [v for v in visits if v >= visits[-1] - reach]
    low, high = _middle(at_low), _middle(at_high)
    ends = 0.5 * math.hypot(_stop_error(at_low, high - low), _stop_error(at_high, high - low))
    closed, opened = (low, high) if rising else (high, low)
    error = math.hypot(ends, LINEARITY_PCT)
    return Stops(closed, opened, error, len(at_low), len(at_high))


def _middle(ascending: list[float]) -> float:
    half = len(ascending) // 2
    return 0.5 * (ascending[half] + ascending[-1 - half])


def _stop_error(visits: list[float], span: float) -> float:
    """Standard error of a stop from the spread of its visits, % of travel."""
    if len(visits) < 2:
        return LONE_STOP_PCT
    mean = sum(visits) / len(visits)
    square = sum((v - mean) ** 2 for v in visits) / (len(visits) - 1)
    return 100.0 * math.sqrt(square / len(visits)) / span


def rests_low(levels: np.ndarray) -> bool | None:
    """Whether a sweep begins and ends at its low end; None where it does neither clearly.

    A throttle rests closed, so a sweep begins there, and most end there.
    """
    if levels.size < 2:
        return None
    middle = 0.5 * (levels.min() + levels.max())
    begins, ends = levels[0] < middle, levels[-1] < middle
    return bool(begins) if begins == ends else None


def rising_output(levels: np.ndarray, declared: str | None) -> tuple[bool, bool]:
    """Whether the output rises with opening, and whether that contradicts the part's data.

    Where the sweep begins and ends at the same end, that end is the closed stop: this stands
    above the part's data, and the contradiction is reported.
    """
    seen = rests_low(levels)
    if declared not in ("rising", "falling"):
        return (
            seen if seen is not None else bool(levels.size and levels[0] < np.mean(levels))
        ), False
    expected = declared == "rising"
    return (expected, False) if seen is None else (seen, seen != expected)


def channel_travel(travel_pct: np.ndarray, coarse: Coarse, place_bounds: np.ndarray) -> np.ndarray:
    """A position channel on the blocks of the coarse copy; NaN in sweeps mostly without it.

    Positions well beyond the stops are unreadable; slightly beyond, they are held at the stop.
    """
    out = np.full(coarse.level.size, np.nan)
    for i, (begin, end) in enumerate(itertools.pairwise(place_bounds)):
        part = travel_pct[begin:end]
        known = np.flatnonzero((part >= -BEYOND_PCT) & (part <= 100.0 + BEYOND_PCT))
        if known.size > 0.9 * part.size:
            blocks = slice(coarse.bounds[i], coarse.bounds[i + 1])
            at = coarse.place[blocks] - begin
            out[blocks] = np.clip(np.interp(at, known, part[known]), 0.0, 100.0)
    return out


def block_travel(coarse: Coarse, strokes: Strokes, stops: list[Stops | None]) -> np.ndarray:
    """Estimated travel of each block, %; NaN in sweeps without stops."""
    closed = np.array([np.nan if s is None else s.closed for s in stops])
    opened = np.array([np.nan if s is None else s.open for s in stops])
    sizes = np.diff(coarse.bounds)
    low, span = np.repeat(closed, sizes), np.repeat(opened - closed, sizes)
    return np.clip(100.0 * (coarse.level - low) / span, 0.0, 100.0)
