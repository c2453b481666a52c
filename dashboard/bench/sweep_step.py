"""The step of the slow passes: where to sweep, the file dropped in or pasted, what it shows."""

from __future__ import annotations

import hashlib
from contextlib import suppress

import streamlit as st

from dashboard import surround
from dashboard.bench.recording import Recorded, ask_about, look_of, recorded
from dashboard.bench.typed import RECORDING_FIELDS, SWEEP_FIELDS, Bench
from dashboard.forms.recording_fields import PLACES, choice_of, worth_remembering
from dashboard.markup import bullets, tag
from dashboard.parts.trace_part import show_still
from dashboard.upload_limits import too_much
from dashboard.wording.recording_words import SLOW_POLL
from dashboard.wording.verdict_words import could_have_missed, sweep_verdict
from dashboard.wording.wear_words import passes_in_short, slowest
from dashboard.words import counted
from pipeline.access.entered.typed_sweep import TypedSweep, typed_sweep
from pipeline.home import HomeError
from pipeline.intake.column_names import remember_column_names
from pipeline.intake.loggers.readers import ENDINGS, is_marked
from pipeline.intake.loggers.recording import SCALE, LogError, LogLook
from pipeline.lately import Lately

_HOW = (
    "Plug connected, key on, engine off, logger on the signal pin. From the closed stop to the "
    "open stop and back, slowly and evenly, several times. On drive-by-wire bikes turn the "
    "grip, never the plate."
)
_FILE = "Recording: a table with a time and a reading a line, a CAN log, a WAV or an MDF 4 file"
#: Larger ones go by the page that hands files in.
LARGEST_MB = 50


def sweep_step(bench: Bench) -> None:
    """Draw the step."""
    _advice(bench)
    if not _taken(bench):
        return
    look = look_of(bench)
    if not isinstance(look, LogLook):
        st.html(tag("p", f"This is no sweep: {look}.", class_="wa-waits", role="alert"))
        return
    ask_about(bench, look)
    if bench.draft.value("sweep_channel") == "percent":
        surround.nothing(SLOW_POLL)
    lacking = _lacking(bench, look)
    if lacking:
        surround.nothing(lacking)
        return
    _show(bench, look, measured_so_far(bench))


def _lacking(bench: Bench, look: LogLook) -> str:
    """What has to be said before the sweep is measured."""
    value = bench.draft.value
    if value(PLACES[1]) is None:
        return "Say which channel is the signal, and the sweep is measured at once."
    if SCALE in look.asks:
        if value("full_scale_v") is None or value("levels") is None:
            return "Say what full scale stands for and whether slow levels are kept."
    elif value("sweep_channel") is None:
        return "Say what the signal is in, and the sweep is measured at once."
    return ""


def _advice(bench: Bench) -> None:
    wear, sensor_id = bench.view.wear, bench.sensor["sensor_id"]
    stretches = wear.stretches[wear.stretches["sensor_id"].eq(sensor_id)]
    passes = wear.passes[wear.passes["rate_hz"].isin(stretches["rate_hz"])]
    said = [_HOW, slowest(stretches), passes_in_short(passes)]
    st.html(bullets([words for words in said if words]))


def _taken(bench: Bench) -> bool:
    """Whether the draft holds a recording, after a file dropped in or text pasted was taken."""
    draft = bench.draft
    kept = draft.sweep
    if kept is not None:
        with st.container(horizontal=True, vertical_alignment="center"):
            st.html(tag("p", f"{_size_words(kept)} is kept with this test."))
            gone = st.button("Take another one", key=draft.key("other_sweep"))
        if gone:
            draft.keep_sweep(None)
            for name in (*PLACES, *RECORDING_FIELDS, "sweep_channel"):
                st.session_state.pop(draft.key(name), None)
            st.rerun()
        return True
    dropped = st.file_uploader(
        _FILE, type=list(ENDINGS), key=draft.key("dropped"), max_upload_size=LARGEST_MB
    )
    with st.form(draft.key("paste_form"), border=False):
        pasted = st.text_area("Or paste it here", key=draft.key("pasted"), height=120)
        taken = st.form_submit_button("Take the pasted lines", key=draft.key("take_pasted"))
    refused = too_much([dropped], LARGEST_MB) if dropped else []
    if refused:
        st.html(tag("div", bullets(refused), class_="wa-waits", role="alert"))
        return False
    content = dropped.getvalue() if dropped else pasted.encode() if taken and pasted else None
    if content is not None:
        draft.keep_sweep(content)
        st.session_state[draft.key("recording_name")] = dropped.name if dropped else None
        st.rerun()
    return False


def _size_words(kept: bytes) -> str:
    if is_marked(kept[:4096]):
        return f"A recording of {len(kept) / (1 << 20):,.2f} MB"
    return f"A sweep of {counted(len(kept.splitlines()), 'line')}"


def measured_so_far(bench: Bench) -> TypedSweep | str | None:
    """What the kept sweep shows; a sentence where it cannot be read, None without a sweep."""
    try:
        found = recorded(bench)
    except LogError as error:
        return f"This is no sweep yet: {error}."
    if found is None:
        return None
    cells = bench.cells()
    asked = {name: cells.get(name) for name in ("supply_v", "track_ohm", *SWEEP_FIELDS)}
    if found.not_judged:
        asked["sweep_channel"] = None
    test = {**asked, "session_id": bench.session_id}
    return _MEASURED.of(
        (
            hashlib.sha256(found.content).hexdigest(),
            bench.sensor.get("sensor_id"),
            tuple(asked.items()),
        ),
        lambda: typed_sweep(bench.sensor, test, found.content, found.name),
        lambda: st.spinner("Measuring the sweep …"),
    )


_MEASURED: Lately[TypedSweep] = Lately(16, 64 * 2**20)


def _show(bench: Bench, look: LogLook, shown: TypedSweep | str | None) -> None:
    if shown is None:
        return
    if isinstance(shown, str):
        st.html(tag("p", shown, class_="wa-waits", role="alert"))
        return
    found = recorded(bench)
    if found is None:
        return
    if shown.troubles:
        head = tag("p", "The intake will mark or set aside:")
        st.html(tag("div", head, bullets(shown.troubles), class_="wa-waits"))
    word, why = sweep_verdict(shown.measures)
    if found.not_judged:
        why = [found.not_judged]
    elif shown.measures:
        why = [*why, *could_have_missed(shown.measures, shown.profile)]
    head = tag("p", f"By the rules: {word.lower()}", class_="wa-big")
    st.html(tag("div", head, bullets(why), role="status"))
    told = _told(found, look, " ".join(why))
    if told:
        st.html(tag("div", tag("p", "Of the recording itself:"), bullets(told), class_="wa-quiet"))
    if not found.not_judged and not shown.trace.empty:
        channel = str(bench.draft.value("sweep_channel"))
        show_still(shown.trace, shown.dropouts, channel=channel, name=f"typed_{bench.draft.name}")


def _told(found: Recorded, look: LogLook, said: str) -> list[str]:
    """What the reader says of the recording and nothing above says already."""
    facts = [fact for fact in found.facts if fact not in said]
    new = [trouble for trouble in found.troubles if trouble not in look.troubles]
    return [*facts, *(new if found.made_from else [])]


def remember_columns(bench: Bench) -> None:
    """Remember what the columns of this logger stand for, as far as that can be written."""
    look = look_of(bench)
    if not isinstance(look, LogLook):
        return
    theirs = worth_remembering(look, choice_of(look, bench.draft.value).columns)
    if theirs:
        with suppress(HomeError):
            remember_column_names(bench.draft.home, "sweeps", theirs, asker=bench.asker)
