"""Worn track, wandering fault, or undecided: do drop-outs come back at the same travel?

A worn spot sits on the track: the wiper finds it again on pass after pass, in both directions,
within a fraction of a per cent. A lead or connector breaks when it likes, or about where it is
tugged, mostly in one direction and never so exactly. Strict: anything short of a clear repeat is
undecided.

Near a stop every pass shows what the stop does by itself, at the same travel; see
``models.sweeps.settling``. What is left beside that must be found on more passes, each from or to a
rest at the stop.
"""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np

from models.sweeps.settling import STOP_PCT

REPEAT_PCT = 0.45  # a spot is found again within this, % of travel to either side
LEAST_PASSES = 3  # passes that must find it, with at least one in each direction
LEAST_SHARE = 0.4  # share of the passes over it that find it
STOP_PASSES = 5  # near a stop, passes that must find it on their way from or to a rest there
NARROW_PCT = 0.4  # spread of the onsets at a worn spot, 1 sigma (tuned on simulated sweeps)
BROAD_PCT = 3.0  # spread about the place where a lead is tugged, 1 sigma (tuned likewise)
CLEARLY_NARROW = 0.45  # mean log likelihood ratio per drop-out that makes a worn track
ENOUGH_RATIO = 3.4  # summed over the drop-outs, odds of 30 to 1, where no spot is found so often
ENOUGH_PASSES = 2  # ... with one pass in each direction at the least
CLEARLY_BROAD = -0.5  # ... and that makes a wandering fault
WANDER_EVENTS = 4  # fewer drop-outs never wander


@dataclass(frozen=True)
class Events:
    """Drop-outs of one sweep, without such as are a stop's own; shape (m,) each.

    low_pct, high_pct : travel from and to. pass_no : pass, -1 where none. opening : whether that
    opens. beside_rest : whether it is met on the way from or to a rest at a stop.
    """

    low_pct: np.ndarray
    high_pct: np.ndarray
    pass_no: np.ndarray
    opening: np.ndarray
    beside_rest: np.ndarray


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
    part = Events(*(getattr(events, f.name)[known] for f in fields(Events)))
    if part.low_pct.size == 0:
        return "undecided"
    ratio = narrow_over_broad(part)
    if ratio > CLEARLY_NARROW:
        spots = (0.5 * (part.low_pct + part.high_pct)).tolist()
        found_again = any(_is_worn(part, s, pass_low, pass_high) for s in sorted(set(spots)))
        if found_again or _enough_together(part, ratio):
            return "worn_track"
    if part.low_pct.size >= WANDER_EVENTS and ratio < CLEARLY_BROAD:
        return "wandering"
    return "undecided"


def narrow_over_broad(events: Events) -> float:
    """Mean log likelihood ratio of each drop-out's onset: worn spots over a tugged lead.

    Each onset is predicted from the drop-outs of all other passes, once by narrow and once by
    broad normal kernels on them (leave-one-pass-out kernel densities), both with a tenth of an
    even chance over the travel. Below 0 the other passes do not foretell the place.
    """
    onset = np.where(events.opening, events.low_pct, events.high_pct)
    apart = onset[:, None] - onset
    other = events.pass_no[:, None] != events.pass_no
    count = np.maximum(other.sum(axis=1), 1)

    def density(spread_pct: float) -> np.ndarray:
        kernel = np.exp(-0.5 * (apart / spread_pct) ** 2) / (spread_pct * np.sqrt(2 * np.pi))
        return 0.9 * (kernel * other).sum(axis=1) / count + 0.1 / 100.0

    return float(np.mean(np.log(density(NARROW_PCT) / density(BROAD_PCT))))


def _enough_together(events: Events, ratio: float) -> bool:
    """Whether spots found less often are found so exactly that the odds are clear all the same."""
    clear = (events.low_pct > STOP_PCT) & (events.high_pct < 100.0 - STOP_PCT)
    passes, both = _different(events.pass_no), _different(events.opening) == 2
    return bool(
        clear.all() and both and passes >= ENOUGH_PASSES and ratio * clear.size > ENOUGH_RATIO
    )


def _different(values: np.ndarray) -> int:
    return len(set(values.tolist()))


def _at(events: Events, spot: float) -> np.ndarray:
    return (events.low_pct - REPEAT_PCT <= spot) & (spot <= events.high_pct + REPEAT_PCT)


def _is_worn(events: Events, spot: float, pass_low: np.ndarray, pass_high: np.ndarray) -> bool:
    near_stop = spot < STOP_PCT or spot > 100.0 - STOP_PCT
    here = _at(events, spot)
    if near_stop:
        here &= events.beside_rest
    found = _different(events.pass_no[here])
    crossed = int(np.sum((pass_low <= spot) & (spot <= pass_high)))
    needed = STOP_PASSES if near_stop else LEAST_PASSES
    both = events.opening[here].any() and not events.opening[here].all()
    return found >= needed and both and found >= LEAST_SHARE * crossed
