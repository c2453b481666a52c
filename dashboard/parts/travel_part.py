"""A sweep over the travel: roughness, drop-outs, its passes, and an earlier test beside them."""

from __future__ import annotations

from functools import partial

import pandas as pd
import streamlit as st

from dashboard.charts.over_travel import passes_chart, passes_reading
from dashboard.charts.profile import (
    band_reading,
    dropouts_chart,
    dropouts_reading,
    earlier_reading,
    roughness_chart,
    roughness_reading,
)
from dashboard.markup import tag, to_session
from dashboard.parts import sweep_records
from dashboard.parts.show_chart import show_chart
from dashboard.records import Shown
from dashboard.surround import nothing
from dashboard.words import CONCLUSIONS, day, milliseconds, number, plain
from pipeline.access.sweep_traces import SweepOverTravel
from pipeline.access.views import SessionView

NO_OTHER = "No other test"
_AS_READ = "Output as read"
_ENLARGED = "Departure from the straight line, enlarged"
_LINEARITY = "linearity_terminal_pct"


def show_over_travel(view: SessionView) -> None:
    """Roughness and drop-outs over the travel, and what good sensors show."""
    profile, band = view.profile, view.travel_band
    if profile.empty:
        nothing("The sweep could not be laid over the travel.")
        return
    show_chart(
        partial(roughness_chart, profile, band),
        f"{roughness_reading(profile)} {band_reading(profile, band)}",
        profile,
        _PROFILE_COLUMNS,
        name="roughness",
    )
    if not profile["dropout_count"].sum():
        st.html(tag("p", dropouts_reading(profile)))
        return
    show_chart(
        partial(dropouts_chart, profile),
        dropouts_reading(profile),
        profile,
        _PROFILE_COLUMNS,
        name="dropouts_over_travel",
    )


_PROFILE_COLUMNS = {
    "From": lambda r: number(r["bin_from_pct"], "%", 1),
    "To": lambda r: number(r["bin_to_pct"], "%", 1),
    "Output smoothness": lambda r: number(r["smoothness_pct"], "% of applied", 3, "no evidence"),
    "Drop-outs": "dropout_count",
    "Passes across": "pass_count",
    "Samples": "sample_count",
    "Shortest visible": lambda r: milliseconds(r["shortest_visible_ms"]),
}

_PASS_COLUMNS = {
    "Pass": "pass_no",
    "Hand": "direction",
    "Travel": lambda r: number(r["travel_pct"], "%", 2),
    "Output": lambda r: number(r["output_pct"], "% of applied", 2),
}


@st.fragment
def show_passes(shown: Shown, view: SessionView) -> None:
    """The passes over the travel, and an earlier test behind them: read only once opened."""
    if view.passes.empty:
        return
    fold = st.expander(
        "Passes laid over the travel, and an earlier test behind them",
        key="passes_over_travel",
        on_change="rerun",
    )
    if not fold.open:
        return
    with fold:
        own = sweep_records.over_travel(shown, view)
        if own is None:
            nothing("The samples of this sweep are not there, so nothing can be laid over it.")
            return
        earlier = _earlier(shown, view)
        _passes(view, own, earlier)
        if earlier is not None:
            _roughness(view, earlier)


def _earlier(shown: Shown, view: SessionView) -> SweepOverTravel | None:
    """The earlier test that the reader lays over this one."""
    tests = sweep_records.can_lie_over(shown, view)
    if tests.empty:
        nothing(
            "There is no earlier sweep in the same channel of this sensor, or of the one before "
            "it, to lay over."
        )
        return None
    choices = {NO_OTHER: None} | {_label(row): row for row in tests.to_dict("records")}
    picked = choices[
        st.selectbox("Lay over an earlier test", list(choices), key=_key("overlay", view))
    ]
    if picked is None:
        return None
    found = sweep_records.earlier_over_travel(shown, picked["session_id"])
    if found is None:
        nothing(f"The samples of test {picked['session_id']} are not there any more.")
        return None
    st.html(tag("p", "Behind: ", to_session(picked["session_id"], _label(picked), "wa-pressed")))
    return found


def _key(name: str, view: SessionView) -> str:
    return f"{name}_{view.session['session_id']}"


def _label(row: dict) -> str:
    sensor = "" if row["same_sensor"] else f", the sensor before ({row['sensor_id']})"
    seen = plain(row["conclusion"], CONCLUSIONS).lower()
    return f"{day(row['tested_on'])}, test {row['session_id']}{sensor}: {seen}"


def _passes(view: SessionView, own: SweepOverTravel, earlier: SweepOverTravel | None) -> None:
    if own.passes.empty:
        nothing("The position is not known, so that no pass can be laid over the travel.")
        return
    enlarged = (
        st.selectbox("Drawn", [_AS_READ, _ENLARGED], key=_key("passes_drawn", view)) == _ENLARGED
    )
    ends = (own.closed_pct, own.open_pct)
    before = None if earlier is None else earlier.passes
    ends_before = None if earlier is None else (earlier.closed_pct, earlier.open_pct)
    show_chart(
        partial(
            passes_chart,
            own.passes,
            ends_pct=ends,
            limit_pct=_limit(view.places),
            earlier=before,
            earlier_ends_pct=ends_before,
            enlarged=enlarged,
        ),
        passes_reading(own.passes, travel_source=own.travel_source, ends_pct=ends),
        own.passes,
        _PASS_COLUMNS,
        name="passes",
    )


def _limit(places: pd.DataFrame) -> float | None:
    """Upper limit of good sensors' departure from the straight line, ±, % of applied."""
    found = places.loc[places["reading"].eq(_LINEARITY), "high"].dropna()
    return float(found.iloc[0]) if len(found) else None


def _roughness(view: SessionView, earlier: SweepOverTravel) -> None:
    show_chart(
        partial(roughness_chart, view.profile, view.travel_band, earlier.profile),
        f"{earlier_reading(view.profile, earlier.profile)} "
        f"{band_reading(view.profile, view.travel_band)}",
        earlier.profile,
        _PROFILE_COLUMNS,
        name="roughness_beside_earlier",
    )
