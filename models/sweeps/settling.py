"""What the stops do to the output by themselves: taken out before a fault's nature is judged.

A throttle that meets its stop bounces, and the hand lets it settle; as it lets go, the linkage
gives. All this comes back at the same travel on every pass, in both directions, as a worn spot
does. But it happens between the first and the last touch of the stop in one visit to it, whereas a
worn spot beside the stop is met before the first touch and after the last. So drop-outs between the
touches are the stop's own and no evidence about the track.

What is met outside the touches counts only where the visit rested between them: a throttle that is
turned round at once leaves no moment at which its settling is known to be over.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

STOP_PCT = 2.0  # this near a stop a fault may be the stop's own, % of travel
TOUCH_PCT = 0.5  # within this of its stop, and TOUCH_SIGMAS of the noise, a throttle touches it
TOUCH_SIGMAS = 3.0
SLACK_S = 0.01  # a touch is known to no better than this: filters and sampling
DWELL_S = 0.1  # a visit that rests so long between its touches dwells (assumed)


@dataclass(frozen=True)
class BesideStops:
    """Per drop-out of one sweep: whether it is a stop's own, and whether its visit dwells.

    Both are False for drop-outs that are not near a stop.
    """

    own: np.ndarray
    dwells: np.ndarray


def beside_stops(
    t_s: np.ndarray,
    bridged: np.ndarray,
    first: np.ndarray,
    last: np.ndarray,
    stops: tuple[float, float],
    sigma: float,
) -> BesideStops:
    """Lay one sweep's drop-outs against its visits to the stops.

    Parameters
    ----------
    t_s, bridged : arrays of shape (n,)
        Times, s; output with the drop-outs bridged, % of applied.
    first, last : int arrays of shape (m,)
        First and last sample of each drop-out.
    stops : (closed, open)
        Output at the stops, % of applied; NaN where not known: then none dwells.
    sigma : float
        Noise, % of applied.
    """
    own, dwells = np.zeros(first.size, dtype=bool), np.zeros(first.size, dtype=bool)
    span = abs(stops[1] - stops[0])
    if not span > 0:
        return BesideStops(own, dwells)
    for stop in stops:
        reach = TOUCH_PCT * span / 100.0 + TOUCH_SIGMAS * sigma
        near = STOP_PCT * span / 100.0 + reach
        ends = np.minimum(np.abs(bridged[first] - stop), np.abs(bridged[last] - stop))
        if not np.any(ends <= near):
            continue
        away = np.abs(bridged - stop)
        for begin, end in _runs(away <= near):
            met = np.flatnonzero((last >= begin) & (first <= end))
            touches = begin + np.flatnonzero(away[begin : end + 1] <= reach)
            if not met.size or not touches.size:
                continue
            from_s, to_s = t_s[touches[0]], t_s[touches[-1]]
            inside = (t_s[last[met]] >= from_s - SLACK_S) & (t_s[first[met]] <= to_s + SLACK_S)
            own[met] |= inside
            dwells[met] |= to_s - from_s >= DWELL_S
    return BesideStops(own, dwells)


def _runs(flags: np.ndarray) -> list[tuple[int, int]]:
    """First and last place of each run of true flags."""
    edge = np.flatnonzero(np.diff(flags.astype(np.int8), prepend=0, append=0))
    return list(zip(edge[::2].tolist(), (edge[1::2] - 1).tolist(), strict=True))
