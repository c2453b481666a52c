"""The sweep's part of a test's page: trace, travel, passes, and what could have been missed."""

from __future__ import annotations

from collections.abc import Callable

import pandas as pd
import streamlit as st

from dashboard import surround
from dashboard.markup import Html, bullets, facts, fold, joined, link, table, tag
from dashboard.parts.dropout_part import show_dropouts
from dashboard.parts.trace_part import show_trace
from dashboard.parts.travel_part import show_over_travel, show_passes
from dashboard.put import put, together
from dashboard.records import Shown
from dashboard.wording.dropout_words import travel_with_error
from dashboard.wording.verdict_words import could_have_missed
from dashboard.words import CHANNEL_UNITS, counted, known, milliseconds, number, plain
from pipeline.access.texts import stop_to_stop
from pipeline.access.views import SessionView

PASSES_SHOWN = 100
_TRAVEL_SOURCES = {
    "channel": "recorded by another channel",
    "estimated": "estimated from the signal",
    "none": "not known",
}


def show_sweep(shown: Shown, view: SessionView) -> Callable[[], None]:
    """Everything the sweep shows, or that there is none.

    Returns what draws the charts over the travel in the place left for them: the browser loads a
    program to draw charts with, and would show no word of the page meanwhile.
    """
    with together():
        surround.heading("The sweep")
        if view.measures is None:
            surround.nothing(
                "No sweep was handed in with this test, so nothing is known here about drop-outs "
                "or roughness."
            )
            return _nothing_more
        missed = bullets(could_have_missed(view.measures, view.profile))
        head = tag("p", tag("strong", "What this sweep could have missed"))
        put(tag("div", head, missed, class_="wa-said"))
    show_trace(shown, view)
    show_dropouts(shown, view)
    put(tag("h3", "Over the travel"))
    place = st.container(key="over_travel")
    show_passes(shown, view)
    _details(view)

    def draw() -> None:
        with place:
            show_over_travel(view)

    return draw


def _nothing_more() -> None:
    """There is no chart to draw."""


def _details(view: SessionView) -> None:
    if len(view.findings):
        found = bullets(view.findings["text"])
        put(joined([tag("h3", "About the recording"), found]))
    folds = [
        fold("Against good sensors of this part", _place_table(view.places))
        if len(view.places)
        else "",
        fold("List of drop-outs", _dropout_table(view)) if len(view.dropouts) else "",
        fold("Passes", _pass_table(view.passes)) if len(view.passes) else "",
        fold("All measures of this sweep", tag("p", stop_to_stop()), facts(_measure_pairs(view))),
    ]
    put(joined(folds))


def _dropout_table(view: SessionView) -> object:
    session_id = view.session["session_id"]
    columns = {
        "No.": lambda r: _to_dropout(session_id, str(r["dropout_no"])),
        "Start": lambda r: number(r["start_s"], "s", 3),
        "Length": lambda r: milliseconds(r["length_s"] * 1000),
        "Depth": lambda r: number(r["depth_pct"], "% of applied", 1),
        "Travel": travel_with_error,
        "Hand": "direction",
        "Pass": lambda r: plain(r["pass_no"], {}, "outside a pass"),
    }
    shown = view.dropouts.head(PASSES_SHOWN)
    counts = f"{len(shown)} of {counted(len(view.dropouts), 'drop-out')}."
    return table(shown, columns, counts)


def _to_dropout(session_id: str, dropout_no: str) -> Html:
    return link(dropout_no, "session", session=session_id, dropout=dropout_no)


def _pass_table(passes: pd.DataFrame) -> object:
    columns = {
        "No.": "pass_no",
        "Hand": "direction",
        "From": lambda r: number(r["start_s"], "s", 2),
        "To": lambda r: number(r["end_s"], "s", 2),
        "Travel": lambda r: f"{number(r['from_pct'], '%', 0)} to {number(r['to_pct'], '%', 0)}",
        "Speed": lambda r: number(r["speed_pct_per_s"], "% of travel a second", 0),
    }
    shown = passes.head(PASSES_SHOWN)
    return table(shown, columns, f"{len(shown)} of {counted(len(passes), 'pass', 'passes')}.")


_PLACE_NAMES = {
    "smoothness_pct": "Output smoothness",
    "linearity_independent_pct": "Independent linearity, ±",
    "linearity_terminal_pct": "Terminal-based linearity, ±",
    "hysteresis_pct": "Hysteresis",
}


def _place_table(places: pd.DataFrame) -> object:
    columns = {
        "Measure": lambda r: plain(r["reading"], _PLACE_NAMES),
        "This sweep": lambda r: number(r["value"], "% of applied", 2, "not measured"),
        "Upper limit": lambda r: number(r["high"], "% of applied", 2, "not known"),
        "Place": _place,
        "Limit from": lambda r: plain(r["method"], {}, "no good sensor measured yet"),
    }
    return table(places, columns, stop_to_stop())


def _place(row: dict) -> str:
    if not (known(row["value"]) and known(row["high"])):
        return "cannot be told"
    return "above the limit" if row["value"] > row["high"] else "within the limit"


def _measure_pairs(view: SessionView) -> list[tuple[str, str]]:
    m = view.measures or {}
    unit = CHANNEL_UNITS.get(plain(view.session["sweep_channel"], {}, ""), "")
    return [
        ("Samples", f"{m['usable_count']:,} usable of {m['sample_count']:,}"),
        ("Duration", number(m["duration_s"], "s", 1)),
        ("Rate", number(m["rate_hz"], "samples a second", 0)),
        ("Travel", plain(m["travel_source"], _TRAVEL_SOURCES)),
        ("Standard uncertainty of travel", number(m["travel_error_pct"], "% of travel", 1)),
        ("Noise, 1 sigma", number(m["noise_pct"], "% of applied", 3)),
        ("Output smoothness", number(m["smoothness_pct"], "% of applied")),
        ("Independent linearity, ±", number(m["linearity_independent_pct"], "% of applied")),
        ("Terminal-based linearity, ±", number(m["linearity_terminal_pct"], "% of applied")),
        ("Hysteresis", number(m["hysteresis_pct"], "% of applied")),
        ("Output at the closed stop", number(m["closed_output"], unit, 3)),
        ("Output at the open stop", number(m["open_output"], unit, 3)),
        ("Agreement of the two tracks, correlation", number(m["track_agreement"], "", 3)),
    ]
