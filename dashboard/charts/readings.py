"""One static reading of a bike's sensors, test by test, against its good range."""

from __future__ import annotations

import altair as alt
import numpy as np
import pandas as pd

from dashboard.charts.parts import DAYS, INK, plain_frame, readable, titled
from dashboard.look import BAND, DROPOUT, NO_EVIDENCE, SIGNAL
from dashboard.words import READINGS, SOURCES, counted, day, known, number, plain

IN_RANGE, OUT_OF_RANGE, NO_RANGE = "in range", "out of range", "no good range"
_PLACES = {
    IN_RANGE: ("circle", SIGNAL),
    OUT_OF_RANGE: ("diamond", DROPOUT),
    NO_RANGE: ("square", NO_EVIDENCE),
}


def placed(readings: pd.DataFrame) -> pd.DataFrame:
    """BAND_READINGS with ``place``: in range, out of range, or no good range."""
    frame = plain_frame(readings)
    without = frame["low"].isna() & frame["high"].isna()
    outside = (frame["value"] < frame["low"]) | (frame["value"] > frame["high"])
    return frame.assign(place=np.select([without, outside], [NO_RANGE, OUT_OF_RANGE], IN_RANGE))


def readings_chart(readings: pd.DataFrame, *, ink: str = INK) -> alt.LayerChart:
    """Points over time on the range each was judged by, drawn as a pale bar behind it.

    Parameters
    ----------
    readings : DataFrame
        BAND_READINGS of one reading.
    ink : str
        Colour of letters and axes.
    """
    frame = placed(readings)
    name, unit = _name_and_unit(readings)
    base = alt.Chart(frame).encode(
        x=alt.X("tested_on:T", title="Day tested", scale=alt.Scale(padding=24), axis=DAYS)
    )
    value = alt.Y("value:Q", title=unit, scale=alt.Scale(zero=False, padding=12))
    words = list(_PLACES)
    shapes, colours = zip(*_PLACES.values(), strict=True)
    points = base.mark_point(size=90, filled=True, opacity=1).encode(
        y=value,
        shape=alt.Shape("place:N", scale=alt.Scale(domain=words, range=list(shapes)), title=None),
        color=alt.Color("place:N", scale=alt.Scale(domain=words, range=list(colours)), title=None),
        tooltip=[
            alt.Tooltip("tested_on:T", title="Day tested", format="%Y-%m-%d"),
            alt.Tooltip("value:Q", title=f"{name}, {unit}", format=".4~f"),
            alt.Tooltip("low:Q", title="Lower limit", format=".4~f"),
            alt.Tooltip("high:Q", title="Upper limit", format=".4~f"),
            alt.Tooltip("sensor_id:N", title="Sensor"),
        ],
    )
    chart = alt.layer(*_range_layers(base), points).properties(
        title=titled(f"{name.capitalize()} against its good range, {unit}", range_words(readings))
    )
    return readable(chart, 400, ink)


def _range_layers(base: alt.Chart) -> list[alt.Chart]:
    """The range as a wide pale bar with an end at each limit; one limit alone gets its end only."""
    bar = base.mark_rule(strokeWidth=12, opacity=0.3, color=BAND).encode(y="low:Q", y2="high:Q")
    ends = [
        base.mark_tick(orient="horizontal", size=18, thickness=2, color=BAND, opacity=1).encode(
            y=f"{end}:Q"
        )
        for end in ("low", "high")
    ]
    return [bar.transform_filter("isValid(datum.low) && isValid(datum.high)"), *ends]


def _name_and_unit(readings: pd.DataFrame) -> tuple[str, str]:
    first = readings.iloc[0]
    return plain(first["reading"], READINGS), plain(first["unit"], blank="ratio")


def range_words(readings: pd.DataFrame) -> str:
    """Where the limits come from and how many sensors stand behind them, with the count."""
    count = f"n = {counted(len(readings), 'reading')}"
    judged = readings[readings["low"].notna() | readings["high"].notna()]
    if judged.empty:
        return f"{count}; no good range yet"
    last = judged.sort_values("tested_on").iloc[-1]
    sensors = last["sensor_count"]
    behind = f", {counted(int(sensors), 'good sensor')}" if known(sensors) and sensors > 0 else ""
    return f"{count}; limits: {plain(last['source'], SOURCES)}{behind}"


def readings_reading(readings: pd.DataFrame) -> str:
    """What the chart shows, in a sentence."""
    frame = placed(readings).sort_values("tested_on")
    name, unit = _name_and_unit(readings)
    shown_unit = "" if unit == "ratio" else unit
    last = frame.iloc[-1]
    now = f"Last {name}: {number(last['value'], shown_unit, 3)} on {day(last['tested_on'])}"
    outside = int(frame["place"].eq(OUT_OF_RANGE).sum())
    judged = int(frame["place"].ne(NO_RANGE).sum())
    if judged == 0:
        return f"{now}; there is no good range to hold it against yet."
    return f"{now}, {last['place']}; {outside} of {counted(judged, 'judged reading')} out of range."
