"""From an analysed batch to the rows of the frames that go out."""

from __future__ import annotations

from dataclasses import asdict, dataclass, field

import numpy as np
import pandas as pd

from models.sweeps import findings as said
from models.sweeps import schemas, tables
from models.sweeps.ability import narrowest_visible_pct, shortest_visible_ms
from models.sweeps.analysis import Analysis, analyse
from models.sweeps.conclusion import Sight, conclude, is_rough, shortcomings
from models.sweeps.dropouts import Found
from models.sweeps.findings import Finding
from models.sweeps.grain import find_grain
from models.sweeps.nature import Events, fault_nature
from models.sweeps.noise import spread
from models.sweeps.samples import Reading, Sweeps
from models.sweeps.scale import Scale, in_percent, scale_of
from models.sweeps.screen import DEPTH_PCT, SIGMAS
from models.sweeps.second_track import SecondTrack, second_track
from models.sweeps.shape import hysteresis, independent_linearity, terminal_linearity
from models.sweeps.travel import CHANNEL_PCT

FULL_PASS_PCT = 90.0  # a pass over this much of the travel counts as stop to stop


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
            "measures": _from_rows(self.measures, schemas.MEASURES),
            "dropouts": _from_columns(self.dropouts, schemas.DROPOUTS),
            "profile": _from_columns(self.profile, schemas.PROFILE),
            "passes": _from_columns(self.passes, schemas.PASSES),
            "findings": _from_rows(self.findings, schemas.FINDINGS),
        }


def _from_rows(rows: list[dict], schema) -> pd.DataFrame:
    return pd.DataFrame(rows, columns=schema.names) if rows else schema.empty()


def _from_columns(chunks: list[dict], schema) -> pd.DataFrame:
    if not chunks:
        return schema.empty()
    return pd.DataFrame({n: np.concatenate([c[n] for c in chunks]) for n in schema.names})


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
    row = dict.fromkeys(schemas.MEASURES.names)
    advice = "Sweep again: six slow passes from stop to stop, recorded at 200 Hz or more."
    row.update(
        session_id=name, conclusion="cannot_tell", fault_nature="none", sample_count=sample_count,
        usable_count=usable_count, pass_count=0, passes_opening=0, passes_closing=0,
        travel_source="none", dropout_count=0, dropout_time_s=0.0, advice=advice,
    )  # fmt: skip
    return row


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
        rows.add_findings(names[i], said.of_marks(readings[i].marks))
        rows.add_findings(names[i], [Finding(*f) for f in scale.findings])
        rows.add_findings(names[i], said.of_kind(known[i].kind, known[i].channel))
        if names[i] not in contexts:
            text = "Nothing but the samples is known of this test."
            rows.add_findings(names[i], [Finding("no_context", text)])
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
    y = in_percent(sweeps.signal, sweeps.bounds, full)
    a = analyse(
        sweeps.t_s, y, sweeps.bounds, travel_pct=sweeps.travel_pct,
        output=[c.output for c in known],
    )  # fmt: skip
    second = second_track(a, sweeps.signal_b, full)
    load = {
        "vref_v": full,
        "track_ohm": np.array([c.track_ohm for c in known]),
        "load_ohm": np.array([c.meter_load_ohm for c in known]),
        "volt": np.array([c.channel == "volt" and c.kind != "contactless" for c in known]),
    }
    found, track = second.found, second.track
    events = tables.dropout_columns(a, found, track, names, sweeps.sample_no, load)
    sweep = found.runs.sweep
    if len(found):
        rows.dropouts.append(events)
    if len(a.strokes):
        rows.passes.append(tables.pass_columns(a, names))
    rows.profile.append(tables.profile_columns(a, names, sweep, events["travel_pct"]))
    _report_measures(rows, names, readings, known, scales, a, second, events)


def _report_measures(
    rows, names, readings, known, scales, a: Analysis, second: SecondTrack, events: dict
) -> None:
    k = len(names)
    smooth, smooth_at, repeat = tables.repeated_smoothness(a)
    grain = find_grain(a.windows, k)
    speed, opens = tables.stroke_speed(a), tables.opening(a)
    stroke_from = np.searchsorted(a.strokes.sweep, np.arange(k + 1))
    event_from = np.searchsorted(second.found.runs.sweep, np.arange(k + 1))
    lowest, highest = spread(a.bridged, a.bounds)
    for i in range(k):
        strokes = slice(stroke_from[i], stroke_from[i + 1])
        mine = slice(event_from[i], event_from[i + 1])
        row = _blank_measures(names[i], readings[i].sample_count, readings[i].usable_count)
        row.update(
            duration_s=a.clock.duration_s[i],
            rate_hz=1.0 / a.clock.step_s[i],
            noise_pct=a.sigma[i],
            smoothness_pct=smooth[i],
            smoothness_travel_pct=smooth_at[i],
            smoothness_repeat_pct=repeat[i],
            roughness_pct=grain.excess_pct[i],
            roughness_z=grain.z[i],
            roughness_travel_pct=grain.travel_pct[i],
            track_agreement=second.agreement[i],
            shortest_visible_ms=float(shortest_visible_ms(a.clock.step_s[i])),
            least_visible_depth_pct=max(DEPTH_PCT, SIGMAS * a.sigma[i]),
        )
        row.update(_pass_figures(a, i, strokes, opens, speed))
        row.update(_end_figures(a, i, scales[i]))
        row.update(_shape_figures(a, i, strokes, opens))
        row.update(_dropout_figures(events, mine, known[i]))
        row["fault_nature"] = _nature(a, second, i, strokes, mine, known[i])
        sight = _sight(row, known[i], a, i)
        missing = shortcomings(sight)
        rough = is_rough(grain.z[i], grain.excess_pct[i])
        row["conclusion"] = conclude(row["dropout_count"], rough, missing)
        row["advice"] = " ".join(missing) or None
        rows.measures.append(row)
        rows.add_findings(names[i], _findings(a, second, i, mine, row, known[i], lowest, highest))


def _pass_figures(a: Analysis, i: int, strokes: slice, opens, speed) -> dict:
    first, last = a.strokes.first[strokes], a.strokes.last[strokes]
    if not first.size:
        return {}
    moved = np.abs(a.travel[last] - a.travel[first])
    full, opening = moved >= FULL_PASS_PCT, opens[strokes]
    ends = np.concatenate([a.travel[first], a.travel[last]])
    typical = float(np.median(speed[strokes]))
    return {
        "pass_count": int(full.sum()),
        "passes_opening": int((full & opening).sum()),
        "passes_closing": int((full & ~opening).sum()),
        "covered_from_pct": float(ends.min()),
        "covered_to_pct": float(ends.max()),
        "speed_pct_per_s": typical,
        "narrowest_visible_pct": float(
            narrowest_visible_pct(a.clock.step_s[i], speed[strokes].max())
        ),
    }


def _end_figures(a: Analysis, i: int, scale: Scale) -> dict:
    stops = a.stops[i]
    if stops is None:
        return {}
    by_channel = bool(a.by_channel[i])
    return {
        "closed_output": stops.closed * scale.full / 100.0,
        "open_output": stops.open * scale.full / 100.0,
        "travel_source": "channel" if by_channel else "estimated",
        "travel_error_pct": CHANNEL_PCT if by_channel else stops.error_pct,
    }


def _shape_figures(a: Analysis, i: int, strokes: slice, opens) -> dict:
    """Linearity and hysteresis need a position that does not come from the output itself."""
    first, last = a.strokes.first[strokes], a.strokes.last[strokes]
    if not a.by_channel[i] or not first.size or a.stops[i] is None:
        return {}
    blocks = [np.arange(f, b + 1) for f, b in zip(first, last, strict=True)]
    every = np.concatenate(blocks)
    x, y = a.travel[every], a.coarse.level[every]
    stops = a.stops[i]
    figures = {
        "linearity_independent_pct": independent_linearity(x, y)[0],
        "linearity_terminal_pct": terminal_linearity(
            x, y, (0.0, 100.0), (stops.closed, stops.open)
        ),
    }
    opening = opens[strokes]
    if opening.any() and not opening.all():
        up = np.concatenate([b for b, o in zip(blocks, opening, strict=True) if o])
        down = np.concatenate([b for b, o in zip(blocks, opening, strict=True) if not o])
        figures["hysteresis_pct"] = abs(
            hysteresis(a.travel[up], a.coarse.level[up], a.travel[down], a.coarse.level[down])
        )
    return figures


def _dropout_figures(events: dict, mine: slice, context: Context) -> dict:
    depth = events["depth_pct"][mine]
    if not depth.size:
        return {}
    travel = events["travel_pct"][mine]
    travel = travel[np.isfinite(travel)]
    peak = None
    if travel.size and context.kind != "contactless":
        near = np.abs(travel[:, None] - travel) <= 1.0
        peak = float(np.median(travel[near[np.argmax(near.sum(axis=1))]]))
    return {
        "dropout_count": int(depth.size),
        "dropout_time_s": float(events["length_s"][mine].sum()),
        "dropout_deepest_pct": float(depth.max()),
        "dropout_peak_travel_pct": peak,
    }


def _nature(a: Analysis, second: SecondTrack, i: int, strokes: slice, mine: slice, context) -> str:
    found: Found = second.found
    picked = found.runs.pick(mine)
    if not len(picked):
        return "none"
    if context.kind == "contactless":
        return "undecided"
    if np.mean(second.track[mine] == "both") > 0.5:
        return "wandering"
    part = Found(picked, found.depth[mine], found.base_first[mine], found.base_last[mine])
    begin, end = tables.event_travel(a, part, second.track[mine] != "b")
    stroke = tables.strokes_at(a, 0.5 * (picked.first + picked.last), picked.sweep)
    opens = tables.opening(a)
    events = Events(
        np.minimum(begin, end),
        np.maximum(begin, end),
        stroke,
        opens[stroke] if opens.size else np.zeros(len(picked), dtype=bool),
    )
    ends = np.stack([a.travel[a.strokes.first[strokes]], a.travel[a.strokes.last[strokes]]])
    return fault_nature(events, ends.min(axis=0), ends.max(axis=0))


def _sight(row: dict, context: Context, a: Analysis, i: int) -> Sight:
    covered = (row["covered_to_pct"] or 0.0) - (row["covered_from_pct"] or 0.0)
    patch = row["narrowest_visible_pct"]
    measurable = context.kind != "contactless" or context.channel != "ohm"
    return Sight(
        context.channel,
        measurable,
        row["shortest_visible_ms"],
        np.inf if patch is None else patch,
        row["passes_opening"],
        row["passes_closing"],
        covered,
        row["least_visible_depth_pct"],
        1000.0 * a.clock.widest_s[i],
    )


def _findings(a, second, i, mine, row, context: Context, lowest, highest) -> list[Finding]:
    track = second.track[mine]
    return [
        *said.of_sampling(a.clock.step_s[i], a.clock.widest_s[i], row["usable_count"]),
        *said.of_output(
            float(lowest[i]), float(highest[i]), context.channel, bool(a.swapped[i]),
            row["pass_count"],
        ),
        *said.of_tracks(
            float(second.agreement[i]), int((track == "both").sum()), int((track == "b").sum())
        ),
    ]  # fmt: skip
