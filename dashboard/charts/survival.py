"""The fleet's curve: how many sensors are still without a defect at each age."""

from __future__ import annotations

import altair as alt
import pandas as pd

from dashboard.charts.parts import INK, plain_frame, readable, titled
from dashboard.look import BAND, SIGNAL
from dashboard.words import counted, distance_unit, in_shown_unit


def survival_chart(curve: pd.DataFrame, *, ink: str = INK) -> alt.LayerChart:
    """The curve on its band; dashed where no sensor of that age has been watched.

    Parameters
    ----------
    curve : DataFrame
        FLEET_CURVE of one part number, or of all.
    ink : str
        Colour of letters and axes.
    """
    frame = plain_frame(curve).sort_values("age_km")
    for name in ("survival", "survival_low", "survival_high"):
        frame[name] = 100 * frame[name]
    frame["age_shown"] = in_shown_unit(frame["age_km"])
    watched = frame["sensor_count"] > 0
    last = frame.loc[watched, "age_km"].max()
    base = alt.Chart(frame)
    x = alt.X(
        "age_shown:Q", title=f"Run by the sensor, {distance_unit()}", axis=alt.Axis(format=",.0f")
    )
    scale = alt.Scale(domain=[0, 100])
    band = base.mark_area(color=BAND, opacity=0.3).encode(
        x=x,
        y=alt.Y("survival_low:Q", title="In 100 without a defect", scale=scale),
        y2="survival_high:Q",
    )
    line = {"x": x, "y": alt.Y("survival:Q", scale=scale), "tooltip": _tooltip()}
    seen = alt.Chart(frame[frame["age_km"] <= last]).mark_line(color=SIGNAL, strokeWidth=3)
    beyond = alt.Chart(frame[frame["age_km"] >= last]).mark_line(
        color=SIGNAL, strokeWidth=2, strokeDash=[5, 5]
    )
    chart = alt.layer(band, seen.encode(**line), beyond.encode(**line)).properties(
        title=titled("Sensors still without a defect, in 100", _count(frame))
    )
    return readable(chart, 380, ink)


def _count(frame: pd.DataFrame) -> list[str]:
    most = counted(int(frame["sensor_count"].max()), "sensor")
    defects = counted(int(frame["defect_count"].iloc[0]), "defect")
    return [f"n = {defects}, at most {most} of an age", "band: 90 %; dashed: none so old watched"]


def _tooltip() -> list[alt.Tooltip]:
    return [
        alt.Tooltip("age_shown:Q", title=f"Run, {distance_unit()}", format=",.0f"),
        alt.Tooltip("survival:Q", title="Without a defect, in 100", format=".0f"),
        alt.Tooltip("survival_low:Q", title="Lower end", format=".0f"),
        alt.Tooltip("survival_high:Q", title="Upper end", format=".0f"),
        alt.Tooltip("sensor_count:Q", title="Sensors watched at this age", format=",.0f"),
    ]
