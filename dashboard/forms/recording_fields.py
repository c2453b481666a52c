"""Fields on a logger's recording: which channel is which, and what its file does not say."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Mapping

import streamlit as st

from dashboard.forms.fields import WIDTH
from dashboard.markup import tag
from dashboard.wording.recording_words import LEVELS, ROLES, SCALE_HOW
from pipeline.intake.loggers.readers import as_log_file, look_at
from pipeline.intake.loggers.recording import (
    SAMPLES,
    SCALE,
    TIME,
    LogChoice,
    LogError,
    LogLook,
)
from pipeline.lately import Lately

#: The field of each of our columns.
PLACES = tuple(f"place_{name}" for name in SAMPLES)
KEEPS = "kept"
#: Wide enough for a channel's name, rate and unit.
_WIDE = 440


def looked(content: bytes, name: str, remembered: Mapping[str, str]) -> LogLook | str:
    """What a recording holds; a sentence where it cannot be read."""
    return _LOOKED.of(
        (digest(content), name, tuple(remembered.items())),
        lambda: _looked(content, name, remembered),
        lambda: st.spinner("Looking through the recording …"),
    )


_LOOKED: Lately[LogLook | str] = Lately(16, 32 * 2**20)


def _looked(content: bytes, name: str, known: Mapping[str, str]) -> LogLook | str:
    try:
        with as_log_file(content, name) as file:
            return look_at(file, dict(known))
    except LogError as error:
        return str(error)


def digest(content: bytes) -> str:
    """A recording told from all others."""
    return hashlib.sha256(content).hexdigest()


def roles(look: LogLook) -> tuple[str, ...]:
    """Our columns that channels of a file can stand for."""
    if SCALE in look.asks:
        return SAMPLES[1:3] if len(look.channels) > 1 else SAMPLES[1:2]
    return SAMPLES if TIME in look.asks else SAMPLES[1:]


def ask_columns(look: LogLook, key: Callable[[str], str]) -> None:
    """Which channel is which; what is likely is put in beforehand."""
    labels = {channel.name: channel.label for channel in look.channels}
    with st.container(horizontal=True):
        for name, place in zip(SAMPLES, PLACES, strict=True):
            if name not in roles(look):
                continue
            if st.session_state.get(key(place)) not in labels:
                st.session_state[key(place)] = look.likely.get(name)
            st.selectbox(
                ROLES[name],
                list(labels),
                index=None,
                key=key(place),
                format_func=labels.__getitem__,
                placeholder="none",
                width=_WIDE,
            )


def ask_times(key: Callable[[str], str]) -> None:
    """What a time column is in."""
    st.radio("The times are in", ["s", "ms"], key=key("times_in"), horizontal=True)


def ask_scale(key: Callable[[str], str]) -> None:
    """Volts by what the person measured; nothing of it is guessed."""
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
        if key("zero_v") not in st.session_state:
            st.session_state[key("zero_v")] = 0.0
        st.number_input("At zero, V", key=key("zero_v"), format="%.3f", step=0.1, width=WIDTH)
    st.pills("Slow levels and drift are", list(LEVELS), key=key("levels"), format_func=LEVELS.get)


def worth_remembering(look: LogLook, columns: Mapping[str, str]) -> dict[str, str]:
    """A logger's own names of columns to ours; none where names are a standard's or a place's."""
    if not look.own_names:
        return {}
    return {
        theirs: ours
        for ours, theirs in columns.items()
        if theirs not in (*SAMPLES, "session_id") and not theirs.startswith("column ")
    }


def choice_of(look: LogLook, value: Callable[[str], object]) -> LogChoice:
    """What was said in the fields; what is likely where no channel was chosen."""
    names = {channel.name for channel in look.channels}
    places = {n: value(place) for n, place in zip(SAMPLES, PLACES, strict=True) if n in roles(look)}
    columns = {ours: str(theirs) for ours, theirs in places.items() if theirs in names}
    levels, full = value("levels"), value("full_scale_v")
    return LogChoice(
        columns or look.likely,
        value("times_in") == "ms" and TIME in look.asks,
        None if full is None else float(str(full)),
        float(str(value("zero_v") or 0.0)),
        None if levels is None else levels == KEEPS,
    )
