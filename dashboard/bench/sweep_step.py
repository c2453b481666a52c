"""The step of the slow passes: where to sweep, the file dropped in or pasted, what it shows."""

from __future__ import annotations

import hashlib
from contextlib import suppress

import streamlit as st

from dashboard import surround
from dashboard.bench.typed import PLACES, SWEEP_FIELDS, TABLE, Bench
from dashboard.forms.fields import ask
from dashboard.markup import bullets, tag
from dashboard.parts.trace_part import show_still
from dashboard.upload_limits import too_much
from dashboard.wording.verdict_words import could_have_missed, sweep_verdict
from dashboard.wording.wear_words import passes_in_short, slowest
from dashboard.words import counted
from pipeline.access.entered.typed_sweep import TypedSweep, typed_sweep
from pipeline.home import HomeError
from pipeline.intake.column_names import read_column_names, remember_column_names
from pipeline.intake.typed.dropped_sweep import (
    SAMPLES,
    SweepText,
    SweepTextError,
    likely_columns,
    read_sweep_text,
    sweep_csv,
)

_HOW = (
    "Plug connected, key on, engine off, logger on the signal pin. From the closed stop to the "
    "open stop and back, slowly and evenly, several times. On drive-by-wire bikes turn the "
    "grip, never the plate."
)
_LABELS = {
    "t_s": "Time",
    "signal": "Signal",
    "signal_b": "Second track",
    "travel_pct": "Travel, from a channel that knows it",
}
_CHANNELS = {"volt": "V", "ohm": "ohm", "percent": "% by the control unit"}
_SLOW_POLL = (
    "A control unit polled a few times a second passes over most drop-outs: nothing seen in such a "
    "sweep says little."
)
#: Larger ones go by the page that hands files in.
LARGEST_MB = 50


def sweep_step(bench: Bench) -> None:
    """Draw the step."""
    _advice(bench)
    content = _taken(bench)
    if content is None:
        return
    try:
        sweep = read_sweep_text(content)
    except SweepTextError as error:
        st.html(tag("p", f"This is no sweep: {error}.", class_="wa-waits", role="alert"))
        return
    _assign(bench, sweep)
    if bench.draft.value("sweep_channel") is None:
        surround.nothing("Say what the signal is in, and the sweep is measured at once.")
        return
    _show(bench, measured_so_far(bench))


def _advice(bench: Bench) -> None:
    wear, sensor_id = bench.view.wear, bench.sensor["sensor_id"]
    stretches = wear.stretches[wear.stretches["sensor_id"].eq(sensor_id)]
    passes = wear.passes[wear.passes["rate_hz"].isin(stretches["rate_hz"])]
    said = [_HOW, slowest(stretches), passes_in_short(passes)]
    st.html(bullets([words for words in said if words]))


def _taken(bench: Bench) -> bytes | None:
    """The sweep that the draft holds, after a file dropped in or text pasted was taken."""
    draft = bench.draft
    kept = draft.sweep
    if kept is not None:
        lines = len(kept.splitlines())
        with st.container(horizontal=True, vertical_alignment="center"):
            st.html(tag("p", f"A sweep of {counted(lines, 'line')} is kept with this test."))
            gone = st.button("Take another one", key=draft.key("other_sweep"))
        if gone:
            draft.keep_sweep(None)
            for name in PLACES:
                st.session_state.pop(draft.key(name), None)
            st.rerun()
        return kept
    dropped = st.file_uploader(
        "Sweep file: one sample a line, a time and a reading",
        type=["csv", "txt", "log", "tsv"],
        key=draft.key("dropped"),
        max_upload_size=LARGEST_MB,
    )
    with st.form(draft.key("paste_form"), border=False):
        pasted = st.text_area("Or paste it here", key=draft.key("pasted"), height=120)
        taken = st.form_submit_button("Take the pasted lines", key=draft.key("take_pasted"))
    refused = too_much([dropped], LARGEST_MB) if dropped else []
    if refused:
        st.html(tag("div", bullets(refused), class_="wa-waits", role="alert"))
        return None
    content = dropped.getvalue() if dropped else pasted.encode() if taken and pasted else None
    if content is not None:
        draft.keep_sweep(content)
        st.rerun()
    return None


def _assign(bench: Bench, sweep: SweepText) -> None:
    """Which column is which, in what unit; remembered names are put in beforehand."""
    draft = bench.draft
    likely = likely_columns(sweep.names, _remembered(bench))
    with st.container(horizontal=True):
        for name, place in zip(SAMPLES, PLACES, strict=True):
            if draft.value(place) not in sweep.names:
                st.session_state[draft.key(place)] = likely.get(name)
            st.selectbox(
                f"{_LABELS[name]}, column",
                sweep.names,
                index=None,
                key=draft.key(place),
                placeholder="none",
                width=280,
            )
    with st.container(horizontal=True):
        ask(
            TABLE,
            "sweep_channel",
            "The signal is in",
            key=draft.key("sweep_channel"),
            words=_CHANNELS,
        )
        ask(
            TABLE,
            "meter_load_ohm",
            "Input resistance of the logger",
            key=draft.key("meter_load_ohm"),
        )
        draft.start_with(times_in="s")
        st.radio("The times are in", ["s", "ms"], key=draft.key("times_in"), horizontal=True)
    if draft.value("sweep_channel") == "percent":
        surround.nothing(_SLOW_POLL)


def _remembered(bench: Bench) -> dict[str, str]:
    """What columns of loggers stand for; nothing where that file is damaged: a test comes first."""
    try:
        return read_column_names(bench.draft.home, bench.asker).get("sweeps", {})
    except HomeError:
        return {}


def contract_file(bench: Bench) -> bytes | None:
    """The sweep as the contract's file; None without one.

    Raises
    ------
    SweepTextError
        It cannot be read, or its time or signal has no column.
    """
    content = bench.draft.sweep
    if content is None:
        return None
    sweep = read_sweep_text(content)
    return sweep_csv(
        sweep,
        bench.session_id,
        _columns(bench, sweep),
        time_in_ms=bench.draft.value("times_in") == "ms",
    )


def _columns(bench: Bench, sweep: SweepText) -> dict[str, str]:
    chosen = {n: bench.draft.value(p) for n, p in zip(SAMPLES, PLACES, strict=True)}
    named = {n: str(value) for n, value in chosen.items() if value in sweep.names}
    return named or likely_columns(sweep.names, {})


def measured_so_far(bench: Bench) -> TypedSweep | str | None:
    """What the kept sweep shows; a sentence where it cannot be read, None without a sweep."""
    try:
        content = contract_file(bench)
    except SweepTextError as error:
        return f"This is no sweep yet: {error}."
    if content is None:
        return None
    cells = bench.cells()
    asked = {name: cells.get(name) for name in ("supply_v", "track_ohm", *SWEEP_FIELDS)}
    return _measured(
        hashlib.sha256(content).hexdigest(),
        tuple(asked.items()),
        content,
        bench.sensor,
        {**asked, "session_id": bench.session_id},
    )


@st.cache_resource(max_entries=16, show_spinner="Measuring the sweep …")
def _measured(digest: str, asked: tuple, _content: bytes, _sensor: dict, _test: dict) -> TypedSweep:
    return typed_sweep(_sensor, _test, _content)


def _show(bench: Bench, shown: TypedSweep | str | None) -> None:
    if shown is None:
        return
    if isinstance(shown, str):
        st.html(tag("p", shown, class_="wa-waits", role="alert"))
        return
    if shown.troubles:
        head = tag("p", "The intake will mark or set aside:")
        st.html(tag("div", head, bullets(shown.troubles), class_="wa-waits"))
    word, why = sweep_verdict(shown.measures)
    missed = could_have_missed(shown.measures, shown.profile) if shown.measures else []
    head = tag("p", f"By the rules: {word.lower()}", class_="wa-big")
    st.html(tag("div", head, bullets([*why, *missed]), role="status"))
    if shown.trace.empty:
        return
    channel = str(bench.draft.value("sweep_channel"))
    show_still(shown.trace, shown.dropouts, channel=channel, name=f"typed_{bench.draft.name}")


def remember_columns(bench: Bench) -> None:
    """Remember what the columns of this logger stand for, as far as that can be written."""
    content = bench.draft.sweep
    if content is None:
        return
    sweep = read_sweep_text(content)
    theirs = {
        name: ours
        for ours, name in _columns(bench, sweep).items()
        if name not in SAMPLES and name != "session_id" and not name.startswith("column ")
    }
    if theirs:
        with suppress(HomeError):
            remember_column_names(bench.draft.home, "sweeps", theirs, asker=bench.asker)
