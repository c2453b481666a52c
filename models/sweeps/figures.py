"""Figures of each sweep of an analysed batch: columns of MEASURES, shape (k,) each."""

from __future__ import annotations

import numpy as np

from models.sweeps import tables
from models.sweeps.ability import narrowest_visible_pct, shortest_visible_ms
from models.sweeps.analysis import Analysis
from models.sweeps.grain import find_grain
from models.sweeps.grouped import group_median, group_reduce, group_starts
from models.sweeps.screen import Limits
from models.sweeps.shape import hysteresis, independent_linearity, terminal_linearity
from models.sweeps.travel import CHANNEL_PCT

FULL_PASS_PCT = 90.0  # a pass over this much of the travel counts as stop to stop
NEAR_PCT = 1.0  # drop-outs within this sit together, % of travel


def sampling_figures(a: Analysis, limits: Limits) -> dict[str, np.ndarray]:
    """Sampling, noise, and what they let show.

    The shallowest drop-out that shows stands out from the noise and from what the output changes
    over two samples at the fastest pass.
    """
    starts = group_starts(a.strokes.sweep, a.bounds.size - 1)
    moved = np.abs(a.coarse.level[a.strokes.last] - a.coarse.level[a.strokes.first])
    time = np.maximum(a.coarse.t_s[a.strokes.last] - a.coarse.t_s[a.strokes.first], 1e-9)
    slope = group_reduce(np.maximum, moved / time, starts, 0.0) * a.clock.step_s
    return {
        "duration_s": a.clock.duration_s,
        "rate_hz": 1.0 / a.clock.step_s,
        "noise_pct": a.sigma,
        "shortest_visible_ms": shortest_visible_ms(a.clock.step_s),
        "least_visible_depth_pct": np.maximum(limits.depth_pct, limits.sigmas * a.sigma)
        + 2.0 * slope,
    }


def pass_figures(a: Analysis) -> dict[str, np.ndarray]:
    """Passes counted, the travel covered, speed, and the narrowest patch that speed shows."""
    sweeps = a.bounds.size - 1
    starts = group_starts(a.strokes.sweep, sweeps)
    first, last = a.travel[a.strokes.first], a.travel[a.strokes.last]
    full = np.abs(last - first) >= FULL_PASS_PCT
    opens, speed = tables.opening(a), tables.stroke_speed(a)
    fastest = group_reduce(np.maximum, speed, starts)
    return {
        "pass_count": group_reduce(np.add, full.astype(float), starts, 0.0),
        "passes_opening": group_reduce(np.add, (full & opens).astype(float), starts, 0.0),
        "passes_closing": group_reduce(np.add, (full & ~opens).astype(float), starts, 0.0),
        "covered_from_pct": group_reduce(np.minimum, np.minimum(first, last), starts),
        "covered_to_pct": group_reduce(np.maximum, np.maximum(first, last), starts),
        "speed_pct_per_s": group_median(speed, starts),
        "narrowest_visible_pct": narrowest_visible_pct(a.clock.step_s, fastest),
    }


def end_figures(a: Analysis, full: np.ndarray) -> dict[str, np.ndarray]:
    """Output at the stops in channel units, and where the travel comes from."""
    closed, opened, error = a.stops.closed, a.stops.open, a.stops.error_pct
    known = np.isfinite(closed) | a.by_channel
    source = np.where(a.by_channel, "channel", np.where(known, "estimated", "none"))
    return {
        "closed_output": closed * full / 100.0,
        "open_output": opened * full / 100.0,
        "travel_source": source.astype(object),
        "travel_error_pct": np.where(a.by_channel, CHANNEL_PCT, error),
    }


def roughness_figures(a: Analysis, load: dict[str, np.ndarray]) -> dict[str, np.ndarray]:
    """Output smoothness, in ohms of contact resistance too, and the grain beyond the noise.

    ``load`` as for ``tables.dropout_columns``.
    """
    smooth, at, repeat = tables.repeated_smoothness(a)
    level = a.stops.closed + (a.stops.open - a.stops.closed) * at / 100.0
    sweep = np.arange(a.bounds.size - 1)
    grain = find_grain(a.windows, a.coarse, a.travel, a.strokes, a.bounds.size - 1)
    return {
        "smoothness_pct": smooth,
        "smoothness_travel_pct": at,
        "smoothness_repeat_pct": repeat,
        "contact_variation_ohm": tables.contact_change_ohm(
            level, np.where(load["ohm"], level + smooth, level - smooth), sweep, load
        ),
        "roughness_pct": grain.excess_pct,
        "roughness_z": grain.z,
        "roughness_travel_pct": grain.travel_pct,
    }


def shape_figures(a: Analysis) -> dict[str, np.ndarray]:
    """Linearity and hysteresis, only where a position is known that is not the output's own."""
    names = ("linearity_independent_pct", "linearity_terminal_pct", "hysteresis_pct")
    out = {name: np.full(a.bounds.size - 1, np.nan) for name in names}
    starts = group_starts(a.strokes.sweep, a.bounds.size - 1)
    opens = tables.opening(a)
    for i in np.flatnonzero(a.by_channel & (np.diff(starts) > 0)):
        own = range(starts[i], starts[i + 1])
        legs = {p: np.arange(a.strokes.first[p], a.strokes.last[p] + 1) for p in own}
        every = np.concatenate(list(legs.values()))
        x, y = a.travel[every], a.coarse.level[every]
        out[names[0]][i] = independent_linearity(x, y)[0]
        ends = (float(a.stops.closed[i]), float(a.stops.open[i]))
        if np.isfinite(ends[0]):
            out[names[1]][i] = terminal_linearity(x, y, (0.0, 100.0), ends)
        up = [legs[p] for p in own if opens[p]]
        down = [legs[p] for p in own if not opens[p]]
        if up and down:
            up, down = np.concatenate(up), np.concatenate(down)
            level = a.coarse.level
            out[names[2]][i] = abs(hysteresis(a.travel[up], level[up], a.travel[down], level[down]))
    return out


def dropout_figures(events: dict, sweep: np.ndarray, wear: np.ndarray) -> dict[str, np.ndarray]:
    """Drop-outs counted, their time, the deepest, and where most of them sit.

    ``wear`` says per sweep whether the part has a track on which anything can sit.
    """
    starts = group_starts(sweep, wear.size)
    peak = np.full(wear.size, np.nan)
    for i in np.flatnonzero(wear & (np.diff(starts) > 0)):
        travel = events["travel_pct"][starts[i] : starts[i + 1]]
        travel = travel[np.isfinite(travel)]
        if travel.size:
            near = np.abs(travel[:, None] - travel) <= NEAR_PCT
            peak[i] = np.median(travel[near[np.argmax(near.sum(axis=1))]])
    return {
        "dropout_count": np.diff(starts),
        "dropout_time_s": group_reduce(np.add, events["length_s"], starts, 0.0),
        "dropout_deepest_pct": group_reduce(np.maximum, events["depth_pct"], starts),
        "dropout_peak_travel_pct": peak,
    }
