"""Frames of passes, drop-outs and travel bins from an analysed batch."""

from __future__ import annotations

import numpy as np

from models.sweeps.ability import shortest_visible_ms
from models.sweeps.analysis import Analysis
from models.sweeps.divider import contact_ohm, loaded_fraction
from models.sweeps.dropouts import Found
from models.sweeps.samples import Sweeps
from models.sweeps.travel import CHANNEL_PCT
from models.sweeps.windows import WINDOWS

MOST_MERGED = 12  # passes up to which comparing them two by two beats sorting
BINS = 50  # travel bins of the profile: 2 % each
_OPEN = np.array(["closing", "opening"], dtype=object)


def stroke_speed(a: Analysis) -> np.ndarray:
    """Median-like speed of each pass, % of travel per second: travel moved over time taken."""
    first, last = a.strokes.first, a.strokes.last
    moved = np.abs(a.travel[last] - a.travel[first])
    return moved / np.maximum(a.coarse.t_s[last] - a.coarse.t_s[first], 1e-9)


def opening(a: Analysis) -> np.ndarray:
    """Whether each pass opens."""
    return a.travel[a.strokes.last] > a.travel[a.strokes.first]


def stroke_numbers(a: Analysis) -> np.ndarray:
    """Number of each pass within its sweep, from 1."""
    starts = np.searchsorted(a.strokes.sweep, np.arange(a.bounds.size - 1))
    return np.arange(len(a.strokes)) - starts[a.strokes.sweep] + 1


def pass_columns(a: Analysis, names: np.ndarray) -> dict[str, np.ndarray]:
    """Columns of PASSES."""
    s = a.strokes
    return {
        "session_id": names[s.sweep],
        "pass_no": stroke_numbers(a),
        "direction": _OPEN[opening(a).astype(int)],
        "start_s": a.coarse.t_s[s.first],
        "end_s": a.coarse.t_s[s.last],
        "from_pct": a.travel[s.first],
        "to_pct": a.travel[s.last],
        "speed_pct_per_s": stroke_speed(a),
    }


def travel_at(a: Analysis, places: np.ndarray, sweep: np.ndarray) -> np.ndarray:
    """Travel at places in the samples, from the coarse copy, %."""
    out = np.interp(places, a.coarse.place, a.travel)
    return np.where(np.isfinite(a.travel[a.coarse.bounds[sweep]]), out, np.nan)


def strokes_at(a: Analysis, places: np.ndarray, sweep: np.ndarray) -> np.ndarray:
    """Index of the pass at places in the samples, -1 where none."""
    if not len(a.strokes):
        return np.full(places.size, -1)
    begins = a.coarse.place[a.strokes.first]
    ends = a.coarse.place[a.strokes.last]
    at = np.searchsorted(begins, places, side="right") - 1
    inside = (at >= 0) & (places <= ends[at]) & (a.strokes.sweep[at] == sweep)
    return np.where(inside, at, -1)


def event_travel(a: Analysis, found: Found, track_a: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Travel at the first and last sample of each drop-out, %.

    From the channel where there is one; else from the output that would have stood there, which
    is finer than the coarse copy; on another track from the coarse copy.
    """
    runs, sweep = found.runs, found.runs.sweep
    closed, opened = a.stops.closed[sweep], a.stops.open[sweep]
    by_output = track_a & ~a.by_channel[sweep]
    ends = []
    for place, base in ((runs.first, found.base_first), (runs.last, found.base_last)):
        read_back = np.clip(100.0 * (base - closed) / (opened - closed), 0.0, 100.0)
        ends.append(np.where(by_output, read_back, travel_at(a, place, sweep)))
    return ends[0], ends[1]


def dropout_columns(
    a: Analysis,
    found: Found,
    track: np.ndarray,
    names: np.ndarray,
    sweeps: Sweeps,
    load: dict[str, np.ndarray],
) -> dict[str, np.ndarray]:
    """Columns of DROPOUTS; ``load`` holds per sweep full, track_ohm, load_ohm, volt and ohm."""
    runs, sweep = found.runs, found.runs.sweep
    begin, end = event_travel(a, found, track != "b")
    middle = 0.5 * (runs.first + runs.last)
    stroke = strokes_at(a, middle, sweep)
    error = a.stops.error_pct[sweep]
    starts = np.searchsorted(sweep, np.arange(a.bounds.size - 1))
    step = a.clock.step_s[sweep]
    opens = opening(a)[stroke] if len(a.strokes) else np.zeros(len(found), dtype=bool)
    return {
        "session_id": names[sweep],
        "dropout_no": np.arange(len(found)) - starts[sweep] + 1,
        "start_s": a.t_s[runs.first],
        "length_s": a.t_s[runs.last] - a.t_s[runs.first] + step,
        "depth_pct": np.abs(found.depth),
        "travel_pct": 0.5 * (begin + end),
        "travel_error_pct": np.where(a.by_channel[sweep], CHANNEL_PCT, error),
        "direction": np.where(stroke < 0, "still", _OPEN[opens.astype(int)]),
        "pass_no": np.where(stroke < 0, np.nan, stroke_numbers_of(a, stroke)),
        "first_sample_no": sweeps.numbers(runs.first),
        "last_sample_no": sweeps.numbers(runs.last),
        "departure": np.where(found.depth < 0, "fell", "rose"),
        "track": track,
        "contact_ohm": _contact(found, sweep, load),
    }


def stroke_numbers_of(a: Analysis, stroke: np.ndarray) -> np.ndarray:
    """Numbers of passes given by index; meaningless where the index is -1."""
    return stroke_numbers(a)[stroke] if len(a.strokes) else stroke


def _contact(found: Found, sweep: np.ndarray, load: dict[str, np.ndarray]) -> np.ndarray:
    lost = np.where(load["ohm"][sweep], -found.depth, found.depth)
    ohm = contact_change_ohm(found.base, found.base + found.depth, sweep, load)
    return np.where((lost < 0) & np.isfinite(ohm), ohm, np.nan)


def contact_change_ohm(
    base: np.ndarray, output: np.ndarray, sweep: np.ndarray, load: dict[str, np.ndarray]
) -> np.ndarray:
    """Contact resistance that takes the output from ``base`` to ``output``, % of applied, ohm.

    Two-wire resistance shows it in full; a voltage through the loaded divider, NaN where load or
    track is not known.
    """
    full, track, load_ohm = (load[k][sweep] for k in ("full", "track_ohm", "load_ohm"))
    x = loaded_fraction(base / 100.0, track, load_ohm)
    volts = contact_ohm(x, output / 100.0 * full, full, track, load_ohm)
    ohm = np.where(load["ohm"][sweep], np.abs(output - base) / 100.0 * full, np.nan)
    return np.where(load["volt"][sweep], volts, ohm)


def profile_columns(
    a: Analysis, names: np.ndarray, dropout_sweep: np.ndarray, dropout_travel: np.ndarray
) -> dict[str, np.ndarray]:
    """Columns of PROFILE: BINS rows for every sweep whose travel is known."""
    k, w = a.bounds.size - 1, a.windows
    samples = _paired(np.add, w.per_sweep(np.add, w.count, k))
    crossed = _paired(np.maximum, w.per_sweep(np.add, w.crossed.astype(int), k))
    height = _paired(np.fmax, a.windows.greatest(k))
    known = np.isfinite(dropout_travel)
    at = np.minimum((dropout_travel[known] * BINS / 100.0).astype(int), BINS - 1)
    events = np.bincount(dropout_sweep[known] * BINS + at, minlength=k * BINS)
    rows = np.repeat(np.isfinite(a.travel[a.coarse.bounds[:-1]]), BINS)
    bins = np.tile(np.arange(BINS), k)
    shortest = np.repeat(shortest_visible_ms(a.clock.step_s), BINS)
    columns = {
        "session_id": np.repeat(names, BINS),
        "bin_from_pct": bins * (100.0 / BINS),
        "bin_to_pct": (bins + 1) * (100.0 / BINS),
        "sample_count": samples.ravel(),
        "pass_count": crossed.ravel(),
        "smoothness_pct": height.ravel(),
        "dropout_count": events,
        "shortest_visible_ms": np.where(crossed.ravel() > 0, shortest, np.nan),
    }
    return {name: values[rows] for name, values in columns.items()}


def repeated_smoothness(a: Analysis) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Per sweep: greatest smoothness, its travel, and the greatest of the passes' medians.

    The median over the passes in a window needs at least two passes with enough samples there.
    """
    greatest = np.nan_to_num(a.windows.greatest(a.bounds.size - 1), nan=-1.0)
    middle = np.nan_to_num(_median_heights(a), nan=-1.0)
    at, best = greatest.argmax(axis=1), greatest.max(axis=1, initial=-1.0)
    repeat = middle.max(axis=1)
    return (
        np.where(best < 0, np.nan, best),
        np.where(best < 0, np.nan, (at + 0.5) * 100.0 / WINDOWS),
        np.where(repeat < 0, np.nan, repeat),
    )


def _median_heights(a: Analysis) -> np.ndarray:
    """Lower median over the passes in each window, NaN with fewer than two: (k, WINDOWS)."""
    w, k = a.windows, a.bounds.size - 1
    out = np.full((k, WINDOWS), np.nan, dtype=w.height.dtype)
    passes = np.bincount(w.sweep, minlength=k)
    begins = np.cumsum(passes) - passes
    for count in np.unique(passes[passes > 1]).tolist():
        chosen = np.flatnonzero(passes == count)
        rows = [w.height[begins[chosen] + number] for number in range(count)]
        known = sum(np.isfinite(row).astype(np.int32) for row in rows)
        ordered = _sorted_rows([np.where(np.isnan(row), np.inf, row) for row in rows])
        place = np.maximum((known - 1) // 2, 0)
        middle = ordered[0]
        for number in range(1, (count + 1) // 2):
            middle = np.where(place == number, ordered[number], middle)
        out[chosen] = np.where(known > 1, middle, np.nan)
    return out


def _sorted_rows(rows: list[np.ndarray]) -> list[np.ndarray]:
    """The arrays so that at every place they ascend: an odd-even merge of neighbours."""
    if len(rows) > MOST_MERGED:
        return list(np.sort(np.stack(rows), axis=0))
    for turn in range(len(rows)):
        for k in range(turn % 2, len(rows) - 1, 2):
            low, high = rows[k], rows[k + 1]
            rows[k], rows[k + 1] = np.minimum(low, high), np.maximum(low, high)
    return rows


def _paired(reduce: np.ufunc, values: np.ndarray) -> np.ndarray:
    """``reduce`` over the windows of each bin of the profile: shape (k, BINS)."""
    return reduce.reduce(values.reshape(values.shape[0], BINS, WINDOWS // BINS), axis=2)
