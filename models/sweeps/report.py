"""From an analysed batch to the rows of the frames that go out."""

from __future__ import annotations

from dataclasses import asdict, dataclass, field

import numpy as np
import pandas as pd

from models.sweeps import figures, schemas, tables
from models.sweeps import findings as said
from models.sweeps.analysis import Analysis, analyse
from models.sweeps.conclusion import Sight, conclude, is_rough, shortcomings
from models.sweeps.dropouts import Found
from models.sweeps.findings import Finding
from models.sweeps.grouped import group_starts
from models.sweeps.nature import Events, fault_nature
from models.sweeps.noise import spread
from models.sweeps.samples import Reading, Sweeps
from models.sweeps.scale import Scale, in_percent, scale_of
from models.sweeps.screen import DEPTH_PCT, OHM_DEPTH_PCT, SIGMAS, Limits
from models.sweeps.second_track import SecondTrack, second_track
from models.sweeps.settling import BesideStops, beside_stops


@dataclass(frozen=True)
class Context:
    """What the bench test knows besides the samples; None or NaN where blank."""

    channel: str | None = None
    supply_v: float = np.nan
    output: str | None = None
    kind: str | None = None
    tracks: int | None = None
    meter_load_ohm: float = np.nan
    track_ohm: float = np.nan


@dataclass
class Rows:
    """Rows gathered batch by batch."""

    measures: list[dict] = field(default_factory=list)
    dropouts: list[dict] = field(default_factory=list)
    profile: list[dict] = field(default_factory=list)
    passes: list[dict] = field(default_factory=list)
    findings: list[dict] = field(default_factory=list)

    def add_findings(self, name: str, items: list[Finding]) -> None:
        """Take in findings on one session."""
        self.findings += [{"session_id": name, **asdict(item)} for item in items]

    def frames(self) -> dict[str, pd.DataFrame]:
        """The five frames, with every column even where there is no row."""
        return {
            "measures": _from_columns(self.measures, schemas.MEASURES),
            "dropouts": _from_columns(self.dropouts, schemas.DROPOUTS),
            "profile": _from_columns(self.profile, schemas.PROFILE),
            "passes": _from_columns(self.passes, schemas.PASSES),
            "findings": _from_rows(self.findings, schemas.FINDINGS),
        }


def _from_rows(rows: list[dict], schema) -> pd.DataFrame:
    columns = {n: np.array([r[n] for r in rows], dtype=object) for n in schema.names}
    return _from_columns([columns], schema) if rows else schema.empty()


def _from_columns(chunks: list[dict], schema) -> pd.DataFrame:
    """Columns joined and given the kinds that the schema declares."""
    if not chunks:
        return schema.empty()
    return pd.DataFrame(
        {
            c.name: _typed(np.concatenate([chunk[c.name] for chunk in chunks]), c.kind)
            for c in schema.columns
        },
        copy=False,
    )


def _typed(values: np.ndarray, kind: str):
    if kind == "text":
        return pd.array(values, dtype="str")
    numbers = values.astype(np.float64)
    if kind == "number":
        return numbers
    blank = np.isnan(numbers)
    return pd.arrays.IntegerArray(np.where(blank, 0, numbers).astype(np.int64), blank)


def contexts_of(frame: pd.DataFrame) -> dict[str, Context]:
    """Contexts by session id from a checked CONTEXTS frame."""

    def text(value) -> str | None:
        return None if pd.isna(value) else str(value)

    return {
        str(row.session_id): Context(
            text(row.sweep_channel),
            float(row.supply_v),
            text(row.output),
            text(row.kind),
            None if pd.isna(row.tracks) else int(row.tracks),
            float(row.meter_load_ohm),
            float(row.track_ohm),
        )
        for row in frame.itertuples()
    }


def report_unmeasured(
    rows: Rows, name: str, reading: Reading | None, context: Context | None
) -> None:
    """A session whose sweep is missing or too short: cannot tell, with the reason."""
    context = context or Context()
    items = said.too_few(reading) + said.of_kind(context.kind, context.channel)
    rows.add_findings(name, items)
    counts = (0, 0) if reading is None else (reading.sample_count, reading.usable_count)
    rows.measures.append(_blank_measures(name, *counts))


def _blank_measures(name: str, sample_count: int, usable_count: int) -> dict:
    row = {
        column.name: [None if column.kind == "text" else np.nan]
        for column in schemas.MEASURES.columns
    }
    advice = "Sweep again: six slow passes from stop to stop, recorded at 200 Hz or more."
    row |= {"session_id": [name], "conclusion": ["cannot_tell"], "fault_nature": ["none"]}
    row |= {"sample_count": [sample_count], "usable_count": [usable_count]}
    row |= {"pass_count": [0], "passes_opening": [0], "passes_closing": [0]}
    row |= {"travel_source": ["none"], "dropout_count": [0], "dropout_time_s": [0.0]}
    return row | {"advice": [advice]}


def report_batch(
    rows: Rows,
    names: list[str],
    readings: list[Reading],
    sweeps: Sweeps,
    contexts: dict[str, Context],
) -> None:
    """Measure a batch of sweeps and add all its rows."""
    known = [contexts.get(name, Context()) for name in names]
    low, high = spread(sweeps.signal, sweeps.bounds)
    scales = [
        scale_of(c.channel, float(a), float(b), c.supply_v, c.track_ohm)
        for c, a, b in zip(known, low, high, strict=True)
    ]
    for i, scale in enumerate(scales):
        items = [*said.of_marks(readings[i].marks), *(Finding(*f) for f in scale.findings)]
        items += said.of_kind(known[i].kind, known[i].channel)
        if names[i] not in contexts:
            text = "Nothing but the samples is known of this test."
            items.append(Finding("no_context", text))
        rows.add_findings(names[i], items)
        if not scale.known:
            counts = (readings[i].sample_count, readings[i].usable_count)
            rows.measures.append(_blank_measures(names[i], *counts))
    chosen = np.array([i for i, s in enumerate(scales) if s.known], dtype=int)
    if chosen.size:
        part = sweeps if chosen.size == len(names) else sweeps.select(chosen)
        _report_known(
            rows,
            np.array([names[i] for i in chosen], dtype=object),
            [readings[i] for i in chosen],
            part,
            [known[i] for i in chosen],
            [scales[i] for i in chosen],
        )


def _report_known(rows, names, readings, sweeps: Sweeps, known, scales: list[Scale]) -> None:
    full = np.array([s.full for s in scales])
    ohm = np.array([c.channel == "ohm" for c in known])
    limits = Limits(depth_pct=np.where(ohm, OHM_DEPTH_PCT, DEPTH_PCT))
    y = in_percent(sweeps.signal, sweeps.bounds, full)
    a = analyse(
        sweeps.t_s, y, sweeps.bounds, travel_pct=sweeps.travel_pct,
        output=["rising" if c.channel == "percent" else c.output for c in known], limits=limits,
        has_rail=np.array([c.channel == "volt" for c in known]),
    )  # fmt: skip
    second = second_track(a, sweeps.signal_b, full, limits)
    load = {
        "full": full,
        "track_ohm": np.array([c.track_ohm for c in known]),
        "load_ohm": np.array([c.meter_load_ohm for c in known]),
        "volt": np.array([c.channel == "volt" and c.kind != "contactless" for c in known]),
        "ohm": np.array([c.channel == "ohm" and c.kind != "contactless" for c in known]),
    }
    found, track = second.found, second.track
    events = tables.dropout_columns(a, found, track, names, sweeps, load)
    sweep = found.runs.sweep
    if len(found):
        rows.dropouts.append(events)
    if len(a.strokes):
        rows.passes.append(tables.pass_columns(a, names))
    rows.profile.append(tables.profile_columns(a, names, sweep, events["travel_pct"]))
    _report_measures(rows, names, readings, known, load, a, second, events, limits)


def _report_measures(
    rows, names, readings, known, load, a: Analysis, second: SecondTrack, events: dict, limits
) -> None:
    sweep = second.found.runs.sweep
    wear = np.array([c.kind != "contactless" for c in known])
    natures, at_stops = _natures(a, second, wear)
    columns = {
        "session_id": names,
        "sample_count": np.array([r.sample_count for r in readings]),
        "usable_count": np.array([r.usable_count for r in readings]),
        "track_agreement": second.agreement,
        **figures.sampling_figures(a, limits),
        **figures.pass_figures(a),
        **figures.end_figures(a, load["full"]),
        **figures.roughness_figures(a, load),
        **figures.shape_figures(a),
        **figures.dropout_figures(events, sweep, wear),
        "fault_nature": natures,
    }
    columns["conclusion"], columns["advice"] = _conclusions(columns, known, a)
    rows.measures.append(columns)
    lowest, highest = spread(a.bridged, a.bounds)
    event_from = group_starts(sweep, len(names))
    stroke_from = group_starts(a.strokes.sweep, len(names))
    passes = np.diff(stroke_from)
    odd = said.may_be_odd(a.clock.widest_s, lowest, highest, passes, a.swapped | a.clipped)
    odd |= (
        np.isfinite(second.agreement) | (at_stops > 0) | (a.rails.step_pct >= said.COARSE_STEP_PCT)
    )
    for i in np.flatnonzero(odd):
        track = second.track[event_from[i] : event_from[i + 1]]
        span = (float(lowest[i]), float(highest[i]))
        items = _findings(a, i, track, known[i], int(passes[i]), span, float(second.agreement[i]))
        rows.add_findings(names[i], items + said.of_stops(int(at_stops[i])))


def _natures(a: Analysis, second: SecondTrack, wear: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """What each sweep's fault is, and how many of its drop-outs are a stop's own.

    A part without a track is never called worn.
    """
    at_stops = np.zeros(wear.size, dtype=int)
    out = np.full(wear.size, "none", dtype=object)
    found = second.found
    starts = group_starts(found.runs.sweep, wear.size)
    strokes = group_starts(a.strokes.sweep, wear.size)
    begin, end = tables.event_travel(a, found, second.track != "b")
    stroke = tables.strokes_at(a, 0.5 * (found.runs.first + found.runs.last), found.runs.sweep)
    opens = tables.opening(a)
    opened = opens[stroke] if opens.size else np.zeros(len(found), dtype=bool)
    for i in np.flatnonzero(np.diff(starts) > 0):
        out[i] = "undecided"
        beside = _beside_stops(a, found, i, slice(starts[i], starts[i + 1]))
        mine = starts[i] + np.flatnonzero(~beside.own)
        at_stops[i] = beside.own.sum()
        if not mine.size:
            continue
        own = slice(strokes[i], strokes[i + 1])
        ends = np.stack([a.travel[a.strokes.first[own]], a.travel[a.strokes.last[own]]])
        low, high = np.minimum(begin, end)[mine], np.maximum(begin, end)[mine]
        if np.mean(second.track[mine] == "both") > 0.5:
            out[i] = "wandering"
        elif wear[i]:
            faults = Events(low, high, stroke[mine], opened[mine], beside.dwells[~beside.own])
            out[i] = fault_nature(faults, ends.min(axis=0), ends.max(axis=0))
    return out, at_stops


def _beside_stops(a: Analysis, found: Found, i: int, mine: slice) -> BesideStops:
    """Which drop-outs of sweep i, given as a slice of all, are a stop's own."""
    part, begin = slice(a.bounds[i], a.bounds[i + 1]), a.bounds[i]
    first, last = found.runs.first[mine] - begin, found.runs.last[mine] - begin
    stops = (float(a.stops.closed[i]), float(a.stops.open[i]))
    return beside_stops(a.t_s[part], a.bridged[part], first, last, stops, float(a.sigma[i]))


def _conclusions(columns: dict, known: list[Context], a: Analysis) -> tuple[np.ndarray, np.ndarray]:
    said_of, advice = [], []
    for i, context in enumerate(known):
        sight = Sight(
            context.channel,
            context.kind != "contactless" or context.channel != "ohm",
            float(columns["shortest_visible_ms"][i]),
            float(columns["narrowest_visible_pct"][i]),
            int(columns["passes_opening"][i]),
            int(columns["passes_closing"][i]),
            float(columns["covered_to_pct"][i] - columns["covered_from_pct"][i]),
            SIGMAS * float(a.sigma[i]),
            1000.0 * float(a.clock.widest_s[i]),
            bool(a.clipped[i]),
        )
        missing = shortcomings(sight)
        rough = is_rough(columns["roughness_z"][i], columns["roughness_pct"][i])
        said_of.append(conclude(int(columns["dropout_count"][i]), rough, missing))
        advice.append(" ".join(missing) or None)
    return np.array(said_of, dtype=object), np.array(advice, dtype=object)


def _findings(
    a: Analysis, i: int, track: np.ndarray, context: Context, strokes: int, span, agreement: float
) -> list[Finding]:
    """Findings on one measured sweep; ``span``: lowest and highest output, % of applied."""
    count = int(a.bounds[i + 1] - a.bounds[i])
    both, only_b = int((track == "both").sum()), int((track == "b").sum())
    return [
        *said.of_sampling(float(a.clock.step_s[i]), float(a.clock.widest_s[i]), count),
        *said.of_output(
            *span, context.channel, bool(a.swapped[i]), strokes, float(a.rails.level_pct[i])
        ),
        *said.of_converter(float(a.rails.step_pct[i]), context.channel),
        *said.of_tracks(agreement, both, only_b),
    ]
