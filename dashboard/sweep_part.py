"""The sweep's part of a test's page: trace, travel, passes, and what could have been missed."""

from __future__ import annotations

from functools import partial

import pandas as pd
import streamlit as st

from dashboard import surround
from dashboard.charts.profile import (
    band_reading,
    dropouts_chart,
    dropouts_reading,
    roughness_chart,
    roughness_reading,
)
from dashboard.charts.trace import trace_chart, trace_reading, window_around
from dashboard.markup import bullets, facts, fold, joined, table, tag
from dashboard.show_chart import show_chart
from dashboard.verdict_words import could_have_missed
from dashboard.words import (
    CHANNEL_UNITS,
    counted,
    known,
    milliseconds,
    number,
    plain,
    travel,
)
from pipeline.access.texts import stop_to_stop
from pipeline.access.views import SessionView

WHOLE = "Whole sweep"
PASSES_SHOWN = 100
_ZOOM = "Drag to move; Shift and wheel to zoom; press twice to go back."
_TRAVEL_SOURCES = {
    "channel": "recorded by another channel",
    "estimated": "estimated from the signal",
    "none": "not known",
}


def show_sweep(view: SessionView) -> None:
    """Everything the sweep shows, or that there is none."""
    surround.heading("The sweep")
    if view.measures is None:
        surround.nothing(
            "No sweep was handed in with this test, so nothing is known here about drop-outs or "
            "roughness."
        )
        return
    missed = bullets(could_have_missed(view.measures, view.profile))
    st.html(
        tag(
            "div",
            tag("p", tag("strong", "What this sweep could have missed")),
            missed,
            class_="wa-said",
        )
    )
    _trace(view)
    _over_travel(view.profile, view.travel_band)
    _details(view)


def _trace(view: SessionView) -> None:
    if view.trace.empty:
        surround.nothing("The sweep's samples cannot be drawn.")
        return
    windows: dict[str, tuple[float, float] | None] = {WHOLE: None} | {
        _dropout_label(row): window_around(row) for row in view.dropouts.to_dict("records")
    }
    window = None
    if len(windows) > 1:
        window = windows[st.selectbox("Show", list(windows), key="part_of_sweep")]
    channel = plain(view.session["sweep_channel"], {}, "")
    chart = partial(trace_chart, view.trace, view.dropouts, channel=channel, window_s=window)
    unit = CHANNEL_UNITS.get(channel, "")
    columns = {
        "Sample": "sample_no",
        "Time": lambda r: number(r["t_s"], "s", 4),
        "Signal": lambda r: number(r["signal"], unit, 4, "unreadable"),
        "Second track": lambda r: number(r["signal_b"], unit, 4, "none"),
        "Travel": lambda r: number(r["travel_pct"], "%", 1, "not recorded"),
    }
    reading = trace_reading(view.trace, view.dropouts)
    show_chart(chart, reading, view.trace, columns, name="trace", hint=_ZOOM)


def _dropout_label(row: dict) -> str:
    place = travel(row["travel_pct"], "travel not known")
    return f"Drop-out {row['dropout_no']}: {number(row['start_s'], 's', 2)}, {place}"


def _over_travel(profile: pd.DataFrame, band: pd.DataFrame) -> None:
    if profile.empty:
        surround.nothing("The sweep could not be laid over the travel.")
        return
    columns = {
        "From": lambda r: number(r["bin_from_pct"], "%", 1),
        "To": lambda r: number(r["bin_to_pct"], "%", 1),
        "Output smoothness": lambda r: number(
            r["smoothness_pct"], "% of applied", 3, "no evidence"
        ),
        "Drop-outs": "dropout_count",
        "Passes across": "pass_count",
        "Samples": "sample_count",
        "Shortest visible": lambda r: milliseconds(r["shortest_visible_ms"]),
    }
    show_chart(
        partial(roughness_chart, profile, band),
        f"{roughness_reading(profile)} {band_reading(profile, band)}",
        profile,
        columns,
        name="roughness",
    )
    if not profile["dropout_count"].sum():
        st.html(tag("p", dropouts_reading(profile)))
        return
    show_chart(
        partial(dropouts_chart, profile),
        dropouts_reading(profile),
        profile,
        columns,
        name="dropouts_over_travel",
    )


def _details(view: SessionView) -> None:
    if len(view.findings):
        found = bullets(view.findings["text"])
        st.html(joined([tag("h3", "About the recording"), found]))
    folds = [
        fold("Against good sensors of this part", _place_table(view.places))
        if len(view.places)
        else "",
        fold("Drop-outs one by one", _dropout_table(view.dropouts)) if len(view.dropouts) else "",
        fold("Passes", _pass_table(view.passes)) if len(view.passes) else "",
        fold("All measures of this sweep", tag("p", stop_to_stop()), facts(_measure_pairs(view))),
    ]
    st.html(joined(folds))


def _dropout_table(dropouts: pd.DataFrame) -> object:
    columns = {
        "No.": "dropout_no",
        "Start": lambda r: number(r["start_s"], "s", 3),
        "Length": lambda r: milliseconds(r["length_s"] * 1000),
        "Depth": lambda r: number(r["depth_pct"], "% of applied", 1),
        "Travel": _travel_with_error,
        "Hand": "direction",
        "Pass": lambda r: plain(r["pass_no"], {}, "outside a pass"),
    }
    shown = dropouts.head(PASSES_SHOWN)
    return table(shown, columns, f"{len(shown)} of {counted(len(dropouts), 'drop-out')}.")


def _travel_with_error(row: dict) -> str:
    error = number(row["travel_error_pct"], "%", 1, "")
    place = number(row["travel_pct"], "%", 1)
    return f"{place} ± {error}" if error else place


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
