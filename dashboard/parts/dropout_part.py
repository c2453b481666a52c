"""Drop-out by drop-out: the samples around each as single points, and what it was in words."""

from __future__ import annotations

from functools import partial

import pandas as pd
import streamlit as st

from dashboard.charts.dropout import dropout_chart, dropout_reading, window_around
from dashboard.markup import link, tag
from dashboard.parts import sweep_records
from dashboard.parts.show_chart import show_chart
from dashboard.parts.trace_part import trace_columns
from dashboard.records import Shown
from dashboard.surround import nothing
from dashboard.wording.dropout_words import dropout_label, dropout_sentence, what_explains
from dashboard.words import CHANNEL_UNITS, plain
from pipeline.access.views import SessionView

PARAMETER = "dropout"
NONE_CHOSEN = "None chosen"
_PICK = "dropout_picked"


@st.fragment
def show_dropouts(shown: Shown, view: SessionView) -> None:
    """Buttons to the next and the one before, and the drop-out that the address names."""
    st.html(tag("h3", "Drop-out by drop-out", id=PARAMETER))
    dropouts = view.dropouts.sort_values("dropout_no", ignore_index=True)
    if dropouts.empty:
        nothing(
            "No drop-out was seen in this sweep, which does not show that there is none: see what "
            "it could have missed."
        )
        return
    place = _place(dropouts)
    _step(dropouts, place)
    if place is not None:
        _one(shown, view, dropouts.iloc[place].to_dict())


def _place(dropouts: pd.DataFrame) -> int | None:
    """Where in the list the drop-out stands that the address names; None where it names none."""
    named = st.query_params.get(PARAMETER, "")
    found = dropouts.index[dropouts["dropout_no"].astype("str") == named]
    if named and not len(found):
        nothing(f"This sweep has no drop-out number {named}.")
    return int(found[0]) if len(found) else None


def _step(dropouts: pd.DataFrame, place: int | None) -> None:
    numbers = [str(n) for n in dropouts["dropout_no"]]
    labels = {NONE_CHOSEN: ""} | {
        dropout_label(row): str(row["dropout_no"]) for row in dropouts.to_dict("records")
    }
    last = len(numbers) - 1
    st.session_state[_PICK] = list(labels)[0 if place is None else place + 1]
    with st.container(horizontal=True, vertical_alignment="bottom"):
        st.button(
            "Drop-out before",
            key="dropout_before",
            on_click=_go,
            args=(numbers[max((place or 0) - 1, 0)],),
            disabled=not place,
        )
        st.button(
            "First drop-out" if place is None else "Next drop-out",
            key="dropout_next",
            on_click=_go,
            args=(numbers[0 if place is None else min(place + 1, last)],),
            disabled=place == last,
        )
        st.selectbox(
            "Drop-out shown",
            list(labels),
            key=_PICK,
            on_change=lambda: _go(labels[st.session_state[_PICK]]),
            width=420,
        )


def _go(number: str) -> None:
    if number:
        st.query_params[PARAMETER] = number
    else:
        st.query_params.pop(PARAMETER, None)


def _one(shown: Shown, view: SessionView, dropout: dict) -> None:
    session_id = view.session["session_id"]
    number = str(dropout["dropout_no"])
    here = link(
        f"Link to drop-out {number}",
        "session",
        "wa-pressed",
        session=session_id,
        dropout=number,
    )
    said = [dropout_sentence(dropout, len(view.dropouts)), what_explains(dropout)]
    st.html(tag("p", " ".join(filter(None, said)), " ", here))
    samples, note = _samples(shown, view, dropout)
    channel = plain(view.session["sweep_channel"], {}, "")
    show_chart(
        partial(dropout_chart, samples, dropout, view.dropouts, channel=channel),
        f"{dropout_reading(samples, dropout)} {note}".strip(),
        samples,
        trace_columns(CHANNEL_UNITS.get(channel, "")),
        name=f"dropout_{number}",
    )


def _samples(shown: Shown, view: SessionView, dropout: dict) -> tuple[pd.DataFrame, str]:
    """Every sample around a drop-out, else what the thinned trace has of them."""
    window = window_around(dropout)
    found = sweep_records.window(shown, view, *window)
    if found is None:
        near = view.trace[view.trace["t_s"].between(*window)].reset_index(drop=True)
        return near, (
            "The samples of this sweep are not there any more: only those of the thinned trace are "
            "shown."
        )
    if found.is_whole:
        return found.samples, ""
    return found.samples, (
        f"So many were recorded ({found.sample_count:,}) that only {len(found.samples):,} are "
        "drawn, every extreme among them."
    )
