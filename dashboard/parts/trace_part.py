"""The trace of a test's page: the whole sweep, or a window of time read anew."""

from __future__ import annotations

from functools import partial

import pandas as pd
import streamlit as st

from dashboard.charts.trace import WINDOW, trace_chart, trace_reading
from dashboard.markup import tag
from dashboard.parts import sweep_records
from dashboard.parts.show_chart import same_as_table, show_chart
from dashboard.parts.trace_picture import trace_picture
from dashboard.put import let_it_show, put, together
from dashboard.records import Shown
from dashboard.surround import nothing
from dashboard.words import CHANNEL_UNITS, number, plain
from pipeline.access.views import SessionView

SHORTEST_S = 0.02
_NEAR = "To see a part from near: type it below, press Nearer, or press Draw a part."
_DRAW = "Draw a window over it to see that part from near, or type one below."
_THIN = (
    "The samples of this sweep are not there any more, so this part is drawn from the thinned "
    "trace: within it detail is missing."
)
Window = tuple[float, float]


@st.fragment
def show_trace(shown: Shown, view: SessionView) -> None:
    """The trace, its drop-outs, and the means to choose a part of it."""
    if view.trace.empty:
        nothing("The sweep's samples cannot be drawn.")
        return
    session_id = view.session["session_id"]
    whole = (float(view.trace["t_s"].min()), float(view.trace["t_s"].max()))
    window = st.session_state.get(_key("window", session_id))
    if window is None and not st.session_state.get(_key("drawing", session_id)):
        show_still(
            view.trace,
            view.dropouts,
            channel=plain(view.session["sweep_channel"], {}, ""),
            name="trace",
            hint=_NEAR,
        )
    else:
        _chart(shown, view, whole, window)
    _choose(session_id, whole, window)


def show_still(
    trace: pd.DataFrame, dropouts: pd.DataFrame, *, channel: str, name: str, hint: str = ""
) -> None:
    """The whole sweep at once, before anything is asked of it: TRACE and DROPOUTS."""
    reading = trace_reading(trace, dropouts)
    with together():
        put(trace_picture(trace, dropouts, channel=channel, reading=reading))
        put(tag("p", f"{reading} {hint}".strip(), class_="wa-reading"))
    let_it_show()
    same_as_table(trace, trace_columns(CHANNEL_UNITS.get(channel, "")), reading, name=name)


def _chart(shown: Shown, view: SessionView, whole: Window, window: Window | None) -> None:
    """The sweep or a part of it, over which a window can be drawn."""
    samples, note = _samples(shown, view, window)
    channel = plain(view.session["sweep_channel"], {}, "")
    show_chart(
        partial(
            trace_chart, samples, view.dropouts, channel=channel, window_s=window, can_choose=True
        ),
        trace_reading(samples, view.dropouts, window),
        samples,
        trace_columns(CHANNEL_UNITS.get(channel, "")),
        name="trace",
        hint=f"{note} {_DRAW}".strip(),
        on_choose=partial(_drawn, view.session["session_id"], whole),
    )


def trace_columns(unit: str) -> dict:
    """Columns of the table beside a trace."""
    return {
        "Sample": "sample_no",
        "Time": lambda r: number(r["t_s"], "s", 4),
        "Signal": lambda r: number(r["signal"], unit, 4, "unreadable"),
        "Second track": lambda r: number(r["signal_b"], unit, 4, "none"),
        "Travel": lambda r: number(r["travel_pct"], "%", 1, "not recorded"),
    }


def _samples(shown: Shown, view: SessionView, window: Window | None) -> tuple[pd.DataFrame, str]:
    """What to draw, and what to say of it."""
    if window is None:
        return view.trace, ""
    found = sweep_records.window(shown, view, *window)
    if found is None:
        return view.trace[view.trace["t_s"].between(*window)].reset_index(drop=True), _THIN
    if found.is_whole:
        return found.samples, f"All {found.sample_count:,} samples recorded there are drawn."
    return found.samples, (
        f"{len(found.samples):,} of the {found.sample_count:,} samples recorded there are drawn, "
        "every extreme among them."
    )


def _choose(session_id: str, whole: Window, window: Window | None) -> None:
    """A window typed in, or moved by buttons."""
    lower, upper = window or whole
    for end, value in (("from", lower), ("to", upper)):
        st.session_state.setdefault(_key(end, session_id), value)
    limits = {"min_value": 0.0, "max_value": whole[1], "step": 0.1, "format": "%.3f"}
    with st.form(_key("form", session_id), border=False):
        st.html(tag("p", tag("strong", "Part of the sweep shown")))
        with st.container(horizontal=True, vertical_alignment="bottom"):
            st.number_input("From, s", **limits, key=_key("from", session_id), width=180)
            st.number_input("To, s", **limits, key=_key("to", session_id), width=180)
            st.form_submit_button(
                "Show this part",
                key=_key("typed", session_id),
                on_click=_typed,
                args=(session_id, whole),
            )
    with st.container(horizontal=True):
        for name, words, to in _moves(whole, (lower, upper)):
            st.button(
                words,
                key=_key(name, session_id),
                on_click=_set,
                args=(session_id, to),
                disabled=to == (lower, upper),
            )
        st.button(
            "Whole sweep",
            key=_key("whole", session_id),
            on_click=_set,
            args=(session_id, whole, True),
            disabled=window is None,
        )
        st.button(
            "Draw a part",
            key=_key("draw", session_id),
            on_click=st.session_state.__setitem__,
            args=(_key("drawing", session_id), True),
            disabled=window is not None or bool(st.session_state.get(_key("drawing", session_id))),
        )


def _moves(whole: Window, window: Window) -> list[tuple[str, str, Window]]:
    """What each button shows: the window moved or resized, held within the sweep."""
    lower, upper = window
    span, middle = upper - lower, 0.5 * (lower + upper)
    narrow = max(0.5 * span, SHORTEST_S)
    return [
        ("back", "Earlier", _held(lower - 0.5 * span, span, whole)),
        ("on", "Later", _held(lower + 0.5 * span, span, whole)),
        ("near", "Nearer", _held(middle - 0.5 * narrow, narrow, whole)),
        ("far", "Farther", _held(middle - span, 2 * span, whole)),
    ]


def _held(lower: float, span: float, whole: Window) -> Window:
    span = min(span, whole[1] - whole[0])
    lower = min(max(lower, whole[0]), whole[1] - span)
    return lower, lower + span


def _drawn(session_id: str, whole: Window) -> None:
    """A window drawn over the chart."""
    chosen = st.session_state.get("chart_trace")
    ends = (chosen or {}).get("selection", {}).get(WINDOW, {}).get("t_s")
    if ends:
        _set(session_id, _held(min(ends), max(max(ends) - min(ends), SHORTEST_S), whole))


def _typed(session_id: str, whole: Window) -> None:
    ends = [st.session_state[_key(end, session_id)] for end in ("from", "to")]
    _set(session_id, _held(min(ends), max(max(ends) - min(ends), SHORTEST_S), whole))


def _set(session_id: str, window: Window, whole: bool = False) -> None:
    st.session_state[_key("window", session_id)] = None if whole else window
    st.session_state[_key("drawing", session_id)] = False
    for end, value in zip(("from", "to"), window, strict=True):
        st.session_state[_key(end, session_id)] = value


def _key(name: str, session_id: str) -> str:
    return f"trace_{name}_{session_id}"
