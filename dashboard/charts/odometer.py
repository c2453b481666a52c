"""A bike's odometer over time."""

from __future__ import annotations

import altair as alt
import pandas as pd

from dashboard.charts.parts import DAYS, INK, plain_frame, readable, titled
from dashboard.look import BAND, NO_EVIDENCE, SECOND_TRACK, SIGNAL
from dashboard.words import counted, day, distance_unit, in_shown_unit, km, km_a_day

_SOURCES = {
    "odometer": ("circle", SIGNAL),
    "test": ("square", SECOND_TRACK),
    "repair": ("diamond", BAND),
    "fitting": ("triangle-up", NO_EVIDENCE),
}


def odometer_chart(odometer: pd.DataFrame, *, ink: str = INK) -> alt.LayerChart:
    """Readings as points joined in order of time, shaped by where each was written down."""
    frame = plain_frame(odometer).sort_values(["read_on", "odometer_km"])
    frame["odometer_shown"] = in_shown_unit(frame["odometer_km"])
    odometer_title = f"Odometer, {distance_unit()}"
    base = alt.Chart(frame).encode(
        x=alt.X("read_on:T", title="Day read", scale=alt.Scale(padding=24), axis=DAYS),
        y=alt.Y(
            "odometer_shown:Q",
            title=odometer_title,
            scale=alt.Scale(zero=False),
            axis=alt.Axis(format=",.0f"),
        ),
    )
    words = list(_SOURCES)
    shapes, colours = zip(*_SOURCES.values(), strict=True)
    points = base.mark_point(size=70, filled=True, opacity=1).encode(
        shape=alt.Shape(
            "source:N", scale=alt.Scale(domain=words, range=list(shapes)), title="From"
        ),
        color=alt.Color(
            "source:N", scale=alt.Scale(domain=words, range=list(colours)), title="From"
        ),
        tooltip=[
            alt.Tooltip("read_on:T", title="Day read", format="%Y-%m-%d"),
            alt.Tooltip("odometer_shown:Q", title=odometer_title, format=",.0f"),
            alt.Tooltip("source:N", title="From"),
        ],
    )
    chart = alt.layer(base.mark_line(color=SIGNAL, strokeWidth=1.2), points).properties(
        title=titled(
            f"Odometer over time, {distance_unit()}", f"n = {counted(len(frame), 'reading')}"
        )
    )
    return readable(chart, 380, ink)


def odometer_reading(odometer: pd.DataFrame) -> str:
    """What the chart shows, in a sentence."""
    if odometer.empty:
        return "No odometer reading is on record."
    frame = odometer.sort_values(["read_on", "odometer_km"])
    first, last = frame.iloc[0], frame.iloc[-1]
    now = f"Last read {km(last['odometer_km'])} on {day(last['read_on'])}"
    days = (last["read_on"] - first["read_on"]).days
    if days < 1:
        return f"{now}; one day's reading tells no rate."
    rate = (last["odometer_km"] - first["odometer_km"]) / days
    return f"{now}, {km_a_day(rate)} on average since {day(first['read_on'])}."
