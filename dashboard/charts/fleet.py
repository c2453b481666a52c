"""Bikes by weeks: the longer a bar, the likelier a road failure; the figure says how likely.

A planned check is a triangle in its week, what is not known a question mark in an empty cell, so
that all of it can be read without colours.
"""

from __future__ import annotations

import altair as alt
import pandas as pd

from dashboard.charts.parts import INK, LABEL_PX, readable, titled
from dashboard.look import DROPOUT, NO_EVIDENCE
from dashboard.wording.fleet_words import in_1000
from dashboard.words import counted, day

_ROW_PX, _AROUND_PX, _GAP, _BAR = 40, 210, 0.05, 0.17


def fleet_chart(bikes: pd.DataFrame, weeks: pd.DataFrame, *, ink: str = INK) -> alt.LayerChart:
    """One row a bike in the order given, one column a week.

    Parameters
    ----------
    bikes : DataFrame
        FLEET_BIKES to be drawn.
    weeks : DataFrame
        BIKE_WEEKS, those of other bikes too.
    ink : str
        Colour of letters and axes.
    """
    frame = placed(bikes, weeks)
    names = frame.drop_duplicates("row").sort_values("row")["name"].tolist()
    count = int(frame["week"].max())
    across = alt.Scale(domain=[0, count], nice=False)
    down = alt.Scale(domain=[len(names), 0], nice=False)
    first = day(frame["from_on"].min())
    x = alt.X(
        "left:Q",
        title="Week ahead",
        scale=across,
        axis=alt.Axis(
            values=[c + 0.5 for c in range(count)],
            labelExpr="format(datum.value + 0.5, 'd')",
            orient="top",
            ticks=False,
            domain=False,
        ),
    )
    y = alt.Y(
        "top:Q",
        title=None,
        scale=down,
        axis=alt.Axis(
            values=[r + 0.5 for r in range(len(names))],
            labelExpr=f"{names}[floor(datum.value)]",
            labelLimit=150,
            labelOverlap=False,
            ticks=False,
            domain=False,
        ),
    )
    cell = alt.Chart(frame).encode(x=x, x2="right:Q", y=y, y2="bottom:Q", tooltip=_tooltip())
    ground = cell.mark_rect(color=NO_EVIDENCE, opacity=0.18)
    bar = (
        alt.Chart(frame[frame["road"].notna()])
        .mark_rect(color=DROPOUT, opacity=1)
        .encode(x=x, x2="reach:Q", y=alt.Y("bar_top:Q", scale=down), y2="bottom:Q")
    )
    figure = (
        alt.Chart(frame)
        .mark_text(fontSize=LABEL_PX, color=ink)
        .encode(x=alt.X("middle:Q", scale=across), y=alt.Y("centre:Q", scale=down), text="figure:N")
    )
    checks = (
        alt.Chart(frame[frame["check"]])
        .mark_point(shape="triangle-down", size=110, filled=True, opacity=1, color=ink)
        .encode(x=alt.X("corner:Q", scale=across), y=alt.Y("high:Q", scale=down))
    )
    said = [
        f"n = {counted(len(names), 'bike')}. Figure: chance in 1,000.",
        f"?: not known. A full bar: {in_1000(frame['road'].max())} in 1,000.",
        "Triangle: a check is planned.",
        f"Week 1 begins on {first}.",
    ]
    chart = alt.layer(ground, bar, figure, checks).properties(
        title=titled("Road failures by bike and week", said)
    )
    return readable(chart, _ROW_PX * len(names) + _AROUND_PX, ink)


def placed(bikes: pd.DataFrame, weeks: pd.DataFrame) -> pd.DataFrame:
    """One row a cell with its place; two bikes of one label are told apart by their ids."""
    twice = bikes["label"].duplicated(keep=False)
    name = bikes["label"].where(~twice, bikes["label"] + " " + bikes["unit_id"])
    order = pd.DataFrame(
        {
            "unit_id": bikes["unit_id"],
            "name": name,
            "visit_on": bikes["visit_on"],
            "row": range(len(bikes)),
        }
    )
    frame = weeks.astype({"week": "float64"}).merge(order, on="unit_id")
    most = frame["road"].max()
    share = frame["road"] / most if most > 0 else frame["road"]
    frame["left"] = frame["week"] - 1 + _GAP / 2
    frame["right"] = frame["left"] + 1 - _GAP
    frame["top"] = frame["row"] + _GAP
    frame["bottom"] = frame["row"] + 1.0 - _GAP
    frame["reach"] = frame["left"] + share * (frame["right"] - frame["left"])
    frame["bar_top"] = frame["bottom"] - _BAR
    frame["middle"] = frame["week"] - 0.5
    frame["centre"] = frame["row"] + 0.42
    frame["corner"], frame["high"] = frame["right"] - 0.12, frame["top"] + 0.22
    frame["figure"] = frame["road"].map(in_1000)
    frame["check"] = frame["visit_on"].between(frame["from_on"], frame["to_on"])
    return frame.drop(columns=["sensors_known"])


def _tooltip() -> list[alt.Tooltip]:
    return [
        alt.Tooltip("name:N", title="Bike"),
        alt.Tooltip("from_on:T", title="From", format="%Y-%m-%d"),
        alt.Tooltip("to_on:T", title="To", format="%Y-%m-%d"),
        alt.Tooltip("figure:N", title="In 1,000"),
    ]
