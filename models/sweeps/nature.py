"""Worn track, wandering fault, or undecided: do drop-outs come back at the same travel?

A worn spot sits on the track: the wiper finds it again on pass after pass, in both directions,
within a fraction of a per cent. A lead or connector breaks when it likes, or about where it is
tugged, mostly in one direction and never so exactly. Strict: anything short of a clear repeat is
undecided.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

REPEAT_PCT = 0.45  # a spot is found again within this, % of travel to either side
LEAST_PASSES = 3  # passes that must find it, with at least one in each direction
LEAST_SHARE = 0.4  # share of the passes over it that find it
STOP_PCT = 2.0  # this near a stop nothing is decided ...
STOP_PASSES = 5  # ... unless so many passes find it there
WANDER_EVENTS = 5  # so many drop-outs without any repeat wander


@dataclass(frozen=True)
class Events:
    """Drop-outs of one sweep: travel from, travel to, pass (-1: none) and whether opening."""

    low_pct: np.ndarray
    high_pct: np.ndarray
    pass_no: np.ndarray
    opening: np.ndarray


def fault_nature(events: Events, pass_low: np.ndarray, pass_high: np.ndarray) -> str:
    """``worn_track``, ``wandering``, ``undecided`` or ``none``.

    Parameters
    ----------
    events : Events
        The sweep's drop-outs.
    pass_low, pass_high : arrays of shape (passes,)
        Travel range of each pass, %.
    """
    if events.low_pct.size == 0:
        return "none"
    known = (events.pass_no >= 0) & np.isfinite(events.low_pct)
    part = Events(
        *(getattr(events, f)[known] for f in ("low_pct", "high_pct", "pass_no", "opening"))
    )
    if part.low_pct.size == 0:
        return "undecided"
    spots = _spots(part)
    sure = [s for s in spots if _is_worn(part, s, pass_low, pass_high)]
    held = np.zeros(part.low_pct.size, dtype=bool)
    for spot in sure:
        held |= _at(part, spot)
    if sure and held.mean() >= 0.5:
        return "worn_track"
    lonely = all(np.unique(part.pass_no[_at(part, s)]).size < 2 for s in spots)
    if events.low_pct.size >= WANDER_EVENTS and lonely:
        return "wandering"
    return "undecided"


def _spots(events: Events) -> list[float]:
    """Travel positions to try: the middle of each event."""
    return np.unique(0.5 * (events.low_pct + events.high_pct)).tolist()


def _at(events: Events, spot: float) -> np.ndarray:
    return (events.low_pct - REPEAT_PCT <= spot) & (spot <= events.high_pct + REPEAT_PCT)


def _is_worn(events: Events, spot: float, pass_low: np.ndarray, pass_high: np.ndarray) -> bool:
    here = _at(events, spot)
    found = np.unique(events.pass_no[here]).size
    crossed = int(np.sum((pass_low <= spot) & (spot <= pass_high)))
    near_stop = spot < STOP_PCT or spot > 100.0 - STOP_PCT
    needed = STOP_PASSES if near_stop else LEAST_PASSES
    both = events.opening[here].any() and not events.opening[here].all()
    return found >= needed and both and found >= LEAST_SHARE * crossed
