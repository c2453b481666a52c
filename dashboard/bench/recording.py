"""A logger's recording kept with a test: what it holds, what must be said of it, and its sweep."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Mapping
from dataclasses import dataclass

import streamlit as st

from dashboard.bench.typed import PLACES, TABLE, Bench
from dashboard.forms.fields import WIDTH, ask
from dashboard.markup import bullets, tag
from dashboard.wording.recording_words import CHANNELS, LEVELS, ROLES, SCALE_HOW
from pipeline.home import HomeError
from pipeline.intake.column_names import read_column_names
from pipeline.intake.loggers.readers import (
    as_log_file,
    contract_file,
    is_marked,
    look_at,
    sweep_of,
)
from pipeline.intake.loggers.recording import (
    SAMPLES,
    SCALE,
    TIME,
    LogChoice,
    LogError,
    LogLook,
)

KEEPS = "kept"


@dataclass(frozen=True)
class Recorded:
    """The sweep of a recording as the contract's file.

    ``made_from`` is the recording itself by its name where the file does not hold its lines as
    they came; ``not_judged`` says why nothing may be concluded, if so.
    """

    name: str
    content: bytes
    facts: tuple[str, ...]
    troubles: tuple[str, ...]
    not_judged: str
    made_from: Mapping[str, bytes]


def look_of(bench: Bench) -> LogLook | str | None:
    """What the kept recording holds; a sentence where it cannot be read, None without one."""
    content = bench.draft.sweep
    if content is None:
        return None
    names = remembered(bench)
    return _looked(_digest(content), _name(bench), tuple(names.items()), content, names)


@st.cache_resource(max_entries=16, show_spinner="Looking through the recording …")
def _looked(
    digest: str, name: str, known: tuple, _content: bytes, _names: dict[str, str]
) -> LogLook | str:
    try:
        with as_log_file(_content, name) as file:
            return look_at(file, _names)
    except LogError as error:
        return str(error)


def ask_about(bench: Bench, look: LogLook) -> None:
    """Which channel is which, and what else the file does not say of itself."""
    said = [f"A {look.kind}.", *look.facts]
    st.html(tag("div", tag("p", " ".join(said)), bullets(look.troubles), class_="wa-quiet"))
    _ask_places(bench, look)
    if SCALE in look.asks:
        _ask_scale(bench)
    _ask_unit(bench, look)


def _ask_places(bench: Bench, look: LogLook) -> None:
    draft = bench.draft
    labels = {channel.name: channel.label for channel in look.channels}
    with st.container(horizontal=True):
        for name, place in zip(SAMPLES, PLACES, strict=True):
            if name not in roles(look):
                continue
            if draft.value(place) not in labels:
                st.session_state[draft.key(place)] = look.likely.get(name)
            st.selectbox(
                ROLES[name],
                list(labels),
                index=None,
                key=draft.key(place),
                format_func=labels.__getitem__,
                placeholder="none",
                width=WIDTH,
            )


def roles(look: LogLook) -> tuple[str, ...]:
    """Our columns that channels of a file can stand for."""
    if SCALE in look.asks:
        return SAMPLES[1:3] if len(look.channels) > 1 else SAMPLES[1:2]
    return SAMPLES if TIME in look.asks else SAMPLES[1:]


def _ask_scale(bench: Bench) -> None:
    """Volts by what the person measured; nothing of it is guessed."""
    key = bench.draft.key
    st.html(tag("p", SCALE_HOW))
    with st.container(horizontal=True):
        st.number_input(
            "At full scale above zero, V",
            value=None,
            key=key("full_scale_v"),
            format="%.3f",
            step=0.1,
            placeholder="blank: not known",
            width=WIDTH,
        )
        bench.draft.start_with(zero_v=0.0)
        st.number_input("At zero, V", key=key("zero_v"), format="%.3f", step=0.1, width=WIDTH)
    st.pills("Slow levels and drift are", list(LEVELS), key=key("levels"), format_func=LEVELS.get)


def _ask_unit(bench: Bench, look: LogLook) -> None:
    """What the signal is in, asked for where the file does not say it; and the rest of it."""
    draft = bench.draft
    stated = stated_channel(bench, look)
    with st.container(horizontal=True):
        if stated is None and SCALE not in look.asks:
            ask(
                TABLE,
                "sweep_channel",
                "The signal is in",
                key=draft.key("sweep_channel"),
                words=CHANNELS,
            )
        else:
            st.session_state[draft.key("sweep_channel")] = stated
        if stated != "percent":
            ask(
                TABLE,
                "meter_load_ohm",
                "Input resistance of the logger",
                key=draft.key("meter_load_ohm"),
            )
        if TIME in look.asks:
            draft.start_with(times_in="s")
            st.radio("The times are in", ["s", "ms"], key=draft.key("times_in"), horizontal=True)


def stated_channel(bench: Bench, look: LogLook) -> str | None:
    """What the signal is in, by the file or by the scale that was stated."""
    if SCALE in look.asks:
        return "volt" if bench.draft.value("levels") == KEEPS else None
    return look.channel_of(str(bench.draft.value(PLACES[1])))


def recorded(bench: Bench) -> Recorded | None:
    """The kept recording's sweep; None without a recording.

    Raises
    ------
    LogError
        It cannot be read, or what must be said of it is not said yet.
    """
    content, look = bench.draft.sweep, look_of(bench)
    if content is None or look is None:
        return None
    if isinstance(look, str):
        raise LogError(look)
    choice = _choice(bench, look)
    asked = (tuple(choice.columns.items()), choice.time_in_ms, choice.volts_at_full_scale)
    asked = (*asked, choice.offset_v, choice.keeps_levels)
    found = _converted(_digest(content), _name(bench), bench.session_id, asked, content, choice)
    if isinstance(found, str):
        raise LogError(found)
    return found


@st.cache_resource(max_entries=8, show_spinner="Reading the recording …")
def _converted(
    digest: str, name: str, session_id: str, asked: tuple, _content: bytes, _choice: LogChoice
) -> Recorded | str:
    try:
        with as_log_file(_content, name) as file:
            sweep = sweep_of(file, _choice)
    except LogError as error:
        return str(error)
    kept = {_file_name(session_id, name): _content} if is_marked(_content[:4096]) else {}
    file_name, content = contract_file(sweep, session_id)
    return Recorded(file_name, content, sweep.facts, sweep.troubles, sweep.not_judged, kept)


def _choice(bench: Bench, look: LogLook) -> LogChoice:
    value = bench.draft.value
    names = {channel.name for channel in look.channels}
    places = {n: value(place) for n, place in zip(SAMPLES, PLACES, strict=True) if n in roles(look)}
    columns = {ours: str(theirs) for ours, theirs in places.items() if theirs in names}
    levels = value("levels")
    full = value("full_scale_v")
    return LogChoice(
        columns or look.likely,
        value("times_in") == "ms" and TIME in look.asks,
        None if full is None else float(str(full)),
        float(str(value("zero_v") or 0.0)),
        None if levels is None else levels == KEEPS,
    )


def remembered(bench: Bench) -> dict[str, str]:
    """What columns of loggers stand for; nothing where that file is damaged: a test comes first."""
    try:
        return read_column_names(bench.draft.home, bench.asker).get("sweeps", {})
    except HomeError:
        return {}


def _name(bench: Bench) -> str:
    return str(bench.draft.value("recording_name") or "the pasted lines")


def _file_name(session_id: str, name: str) -> str:
    """What the recording is kept as: its own name's letters, digits, points and dashes."""
    plain = re.sub(r"[^\w.-]+", "-", name, flags=re.ASCII)[-60:]
    return f"recording-{session_id}-{plain}"


def _digest(content: bytes) -> str:
    return hashlib.sha256(content).hexdigest()
