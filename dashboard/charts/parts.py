"""What the charts share: titles with units and counts, sizes that can be read, bare axes."""

from __future__ import annotations

import altair as alt
import pandas as pd

from dashboard import look

LABEL_PX, TITLE_PX = 16, 18
INK = look.PAGE["text"][0]
TRAVEL = "From closed to open, % of travel"  # short enough for a phone
DAYS = alt.Axis(format="%Y-%m-%d", tickCount=6, labelOverlap=True)


def titled(title: str, count: str | list[str]) -> alt.TitleParams:
    """A title with what was counted beneath it (the chart's n), on one line or several."""
    return alt.TitleParams(title, subtitle=count, anchor="start")


def readable(chart: alt.LayerChart, height: int, ink: str) -> alt.LayerChart:
    """Letters big enough for a phone and dark enough for the theme; the width of the page."""
    letters = {"labelFontSize": LABEL_PX, "titleFontSize": LABEL_PX}
    inks = {"labelColor": ink, "titleColor": ink}
    lines = {"domainColor": ink, "tickColor": ink, "grid": False}
    # set on the chart itself: each call of configure_... would copy the whole of it
    chart.height, chart.width = height, "container"
    chart.config = alt.Config(
        axis=alt.AxisConfig(titleFontWeight="normal", **letters, **inks, **lines),
        title=alt.TitleConfig(
            fontSize=TITLE_PX,
            subtitleFontSize=LABEL_PX,
            color=ink,
            subtitleColor=ink,
            subtitlePadding=4,
            offset=10,
        ),
        legend=alt.LegendConfig(orient="bottom", labelLimit=320, **letters, **inks),
        view=alt.ViewConfig(strokeWidth=0),
    )
    return chart


def travel_axis() -> alt.X:
    """Travel from the closed to the open stop, always whole."""
    return alt.X(
        "bin_from_pct:Q",
        title=TRAVEL,
        scale=alt.Scale(domain=[0, 100], nice=False),
        axis=alt.Axis(values=list(range(0, 101, 10))),
    )


def plain_frame(frame: pd.DataFrame) -> pd.DataFrame:
    """The same with dtypes that a chart can hold: blanks as NaN, whole numbers as floats."""
    kept = frame.copy()
    for name in kept.columns:
        if kept[name].dtype in ("Int64", "boolean"):
            kept[name] = kept[name].astype("float64")
    return kept
