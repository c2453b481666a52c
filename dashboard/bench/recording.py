"""A logger's recording kept with a test: what it holds, what must be said of it, and its sweep."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field, replace

import streamlit as st

from dashboard.bench.typed import TABLE, Bench
from dashboard.forms.fields import ask
from dashboard.forms.recording_fields import (
    KEEPS,
    PLACES,
    ask_columns,
    ask_scale,
    ask_times,
    choice_of,
    digest,
    looked,
)
from dashboard.markup import bullets, tag
from dashboard.wording.recording_words import CHANNELS
from pipeline.home import HomeError
from pipeline.intake.column_names import read_column_names
from pipeline.intake.loggers.readers import as_log_file, contract_file, is_marked, sweep_of
from pipeline.intake.loggers.recording import SCALE, TIME, LogChoice, LogError, LogLook
from pipeline.lately import Lately


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
    made_from: Mapping[str, bytes] = field(default_factory=dict)


def look_of(bench: Bench) -> LogLook | str | None:
    """What the kept recording holds; a sentence where it cannot be read, None without one."""
    content = bench.draft.sweep
    if content is None:
        return None
    return looked(content, _name(bench), remembered(bench))


def ask_about(bench: Bench, look: LogLook) -> None:
    """Which channel is which, and what else the file does not say of itself."""
    st.html(tag("p", " ".join([f"A {look.kind}.", *look.facts]), class_="wa-quiet"))
    if look.troubles:
        head = tag("p", "What cannot be read in it:")
        st.html(tag("div", head, bullets(look.troubles), class_="wa-waits"))
    ask_columns(look, bench.draft.key)
    if SCALE in look.asks:
        ask_scale(bench.draft.key)
    _ask_unit(bench, look)


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
            ask_times(draft.key)


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
    choice = choice_of(look, bench.draft.value)
    asked = (tuple(choice.columns.items()), choice.time_in_ms, choice.volts_at_full_scale)
    asked = (*asked, choice.offset_v, choice.keeps_levels)
    found = _CONVERTED.of(
        (digest(content), _name(bench), bench.session_id, asked),
        lambda: _converted(_name(bench), bench.session_id, content, choice),
        lambda: st.spinner("Reading the recording …"),
    )
    if isinstance(found, str):
        raise LogError(found)
    if not is_marked(content[:4096]):
        return found
    return replace(found, made_from={_file_name(bench.session_id, _name(bench)): content})


#: By content and choice. A recording may be large: they are kept by what they hold together.
_CONVERTED: Lately[Recorded | str] = Lately(8, 64 * 2**20)


def _converted(name: str, session_id: str, content: bytes, choice: LogChoice) -> Recorded | str:
    try:
        with as_log_file(content, name) as file:
            sweep = sweep_of(file, choice)
    except LogError as error:
        return str(error)
    file_name, made = contract_file(sweep, session_id)
    return Recorded(file_name, made, sweep.facts, sweep.troubles, sweep.not_judged)


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
