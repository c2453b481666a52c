"""All that is worked out about a batch of sweeps before anything is said about them."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from models.sweeps.dropouts import DEFAULT_LIMITS, Found, Limits, find_dropouts
from models.sweeps.noise import Clock, clocks, noise_sigma
from models.sweeps.passes import Coarse, Strokes, coarse_copy, find_strokes
from models.sweeps.rails import Rails, find_rails
from models.sweeps.travel import (
    Stops,
    block_travel,
    channel_position,
    on_blocks,
    rising_output,
    stops_of,
    visits_of,
)
from models.sweeps.windows import Windows, cut_windows


@dataclass(frozen=True)
class Analysis:
    """One batch analysed. Arrays over samples (n,), sweeps (k,), blocks, passes or windows.

    y : output, % of applied; bridged : with drop-outs bridged. travel : of the coarse blocks, %,
    NaN where unknown; by_channel : whether a channel gave it, per sweep. swapped : per sweep,
    whether the output runs against the part's data.
    """

    bounds: np.ndarray
    t_s: np.ndarray
    y: np.ndarray
    bridged: np.ndarray
    clock: Clock
    sigma: np.ndarray
    found: Found
    coarse: Coarse
    strokes: Strokes
    stops: Stops
    travel: np.ndarray
    by_channel: np.ndarray
    swapped: np.ndarray
    rails: Rails
    windows: Windows

    @property
    def clipped(self) -> np.ndarray:
        """Whether each sweep is cut off at a rail."""
        return np.isfinite(self.rails.level_pct)


def analyse(
    t_s: np.ndarray,
    y: np.ndarray,
    bounds: np.ndarray,
    *,
    travel_pct: np.ndarray | None = None,
    output: list[str | None] | None = None,
    has_rail: np.ndarray | None = None,
    limits: Limits = DEFAULT_LIMITS,
) -> Analysis:
    """Analyse sweeps laid one behind the other.

    Parameters
    ----------
    t_s : array of shape (n,)
        Times, s, ascending within a sweep.
    y : array of shape (n,)
        Output, finite, % of applied.
    bounds : int array of shape (k + 1,)
        Sweep i is ``bounds[i]:bounds[i + 1]``.
    travel_pct : array of shape (n,), optional
        Another channel's travel, NaN where blank.
    output : list of k, optional
        ``rising``, ``falling`` or None, from the part's data.
    has_rail : array of k, optional
        Whether the recording may be clipped at a converter's rail; all, if not given.
    limits : Limits
        When a departure counts as a drop-out.
    """
    clock = clocks(t_s, bounds)
    sigma = noise_sigma(y, bounds)
    found, bridged = find_dropouts(t_s, y, bounds, clock.step_s, sigma, limits)
    coarse = coarse_copy(t_s, bridged, bounds, clock.step_s)
    channel, position = np.full(coarse.level.size, np.nan), None
    if travel_pct is not None:
        position = channel_position(travel_pct, bounds)
        channel = on_blocks(position, coarse, bounds)
    known = np.isfinite(channel)
    strokes = find_strokes(coarse, np.where(known, channel, coarse.level))
    rails = find_rails(y, bridged, bounds, sigma)
    if has_rail is not None:
        rails = replace(rails, level_pct=np.where(has_rail, rails.level_pct, np.nan))
    cut = np.isfinite(rails.level_pct)
    stops, swapped = _stops(coarse, strokes, channel, output or [None] * (bounds.size - 1), cut)
    travel = np.where(known, channel, block_travel(coarse, stops))
    windows = cut_windows(coarse, travel, strokes, bridged, bounds, clock, t_s, position)
    return Analysis(
        bounds, t_s, y, bridged, clock, sigma, found, coarse, strokes, stops, travel,
        known[coarse.bounds[:-1]], swapped, rails, windows,
    )  # fmt: skip


def _stops(
    coarse: Coarse,
    strokes: Strokes,
    channel: np.ndarray,
    output: list[str | None],
    cut: np.ndarray,
) -> tuple[Stops, np.ndarray]:
    """Stops of each sweep, none where clipped; and whether it runs against the part's data."""
    visits = visits_of(coarse.level, strokes.turns)
    rising, swapped = rising_output(visits, output)
    by_channel = np.isfinite(channel[coarse.bounds[:-1]]) & (visits.count > 0)
    for i in np.flatnonzero(by_channel):
        turns = strokes.turns[i]
        rising[i], swapped[i] = _rising_by_channel(coarse.level[turns], channel[turns], output[i])
    return stops_of(visits, rising, ~cut), swapped


def _rising_by_channel(
    levels: np.ndarray, travel: np.ndarray, declared: str | None
) -> tuple[bool, bool]:
    rising = bool(np.sum((levels - levels.mean()) * (travel - travel.mean())) >= 0)
    known = declared in ("rising", "falling")
    return rising, known and rising != (declared == "rising")
