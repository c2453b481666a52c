"""Recordings of loggers among the files dropped in: asked about, and read as their sweep."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from contextlib import suppress

import streamlit as st

from dashboard import records
from dashboard.forms.recording_fields import (
    KEEPS,
    PLACES,
    ask_columns,
    ask_scale,
    ask_times,
    choice_of,
    digest,
    looked,
    worth_remembering,
)
from dashboard.markup import bullets, tag
from pipeline.home import HomeError
from pipeline.intake.check_files import FilesCheck
from pipeline.intake.column_names import read_column_names, remember_column_names
from pipeline.intake.loggers.readers import is_marked
from pipeline.intake.loggers.recording import SCALE, TIME, LogLook, Recording

_FIRST_BYTES = 4096
_FIELDS = (*PLACES, "times_in", "full_scale_v", "zero_v", "levels")
_WITHOUT_TEST = "holds sweeps and no column session_id. If it is one sweep of one test, say which:"


def marked_among(contents: Mapping[str, bytes]) -> list[str]:
    """Files whose content tells that they are a logger's recording."""
    return [name for name, content in contents.items() if is_marked(content[:_FIRST_BYTES])]


def without_test(check: FilesCheck) -> list[str]:
    """Tables of sweeps that name no test."""
    return [
        file.came_as
        for file in check.files
        if file.table == "sweeps" and "session_id" in file.lacking and " of " not in file.came_as
    ]


def ask_for_recordings(
    shown: records.Shown,
    contents: Mapping[str, bytes],
    check: FilesCheck,
    recordings: dict[str, Recording],
) -> None:
    """Ask of each recording which test it belongs to and what its file does not say."""
    tables = [name for name in without_test(check) if name in contents]
    told = [name for name in recordings if name in contents]
    for name in dict.fromkeys([*marked_among(contents), *tables, *told]):
        if name in recordings:
            if st.button(f"Say it otherwise of {name}", key=f"recording_again_{name}"):
                _put_back(_keys(contents[name]), recordings.pop(name))
                st.rerun()
            continue
        look = looked(contents[name], name, _remembered(shown))
        if isinstance(look, str):
            words = f"{name} cannot be taken in: {look}."
            st.html(tag("div", tag("p", words), class_="wa-said wa-care", role="alert"))
            continue
        said = _ask(name, _keys(contents[name]), look, is_table=name in tables)
        if said is not None:
            recordings[name] = said
            _remember(shown, worth_remembering(look, said.choice.columns))
            st.rerun()


def _ask(
    name: str, key: Callable[[str], str], look: LogLook, *, is_table: bool
) -> Recording | None:
    """What was said of one recording; None as long as it is not."""
    what = _WITHOUT_TEST if is_table else f"a {look.kind}. {' '.join(look.facts)}"
    head = tag("p", tag("strong", name), " " if is_table else ": ", what)
    with st.form(key("form")):
        st.html(tag("div", head, bullets(look.troubles)))
        session_id = st.text_input(
            "Bench test it belongs to (its session_id)",
            key=key("session"),
            autocomplete="off",
            width=480,
        )
        ask_columns(look, key)
        if TIME in look.asks:
            ask_times(key)
        if SCALE in look.asks:
            ask_scale(key)
        said = st.form_submit_button("Read it so", key=key("set"))
    if not said:
        return None
    if not session_id.strip():
        st.html(tag("p", "Say which bench test it belongs to.", class_="wa-waits", role="alert"))
        return None
    values = {field: st.session_state.get(key(field)) for field in _FIELDS}
    return Recording(session_id.strip(), choice_of(look, values.get))


def _keys(content: bytes) -> Callable[[str], str]:
    """Keys of the fields on one recording."""
    stamp = digest(content)[:12]
    return lambda field: f"recording_{stamp}_{field}"


def _put_back(key: Callable[[str], str], said: Recording) -> None:
    """Let what was said of a recording stand in its fields again."""
    choice = said.choice
    fields = {f"place_{ours}": theirs for ours, theirs in choice.columns.items()}
    fields |= {"session": said.session_id, "times_in": "ms" if choice.time_in_ms else "s"}
    fields |= {"full_scale_v": choice.volts_at_full_scale, "zero_v": choice.offset_v}
    if choice.keeps_levels is not None:
        fields["levels"] = KEEPS if choice.keeps_levels else "lost"
    for field, value in fields.items():
        st.session_state[key(field)] = value


def _remember(shown: records.Shown, theirs: dict[str, str]) -> None:
    if theirs:
        with suppress(HomeError):
            remember_column_names(shown.home, "sweeps", theirs, asker=shown.asker)


def _remembered(shown: records.Shown) -> dict[str, str]:
    try:
        return read_column_names(shown.home, shown.asker).get("sweeps", {})
    except HomeError:
        return {}
