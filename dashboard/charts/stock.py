"""Parts asked for against the stock, and the chance of a need unmet by week.

What stock and order cover is told by the mark on each bar and by its filling as well as by colour.
"""

from __future__ import annotations

import altair as alt
import numpy as np
import pandas as pd

from dashboard.charts.parts import INK, LABEL_PX, plain_frame, readable, titled
from dashboard.look import BAND, DROPOUT, SIGNAL
from dashboard.wording.stock_words import expected, unmet
from dashboard.words import counted, day

STOCK, ORDER, NEITHER = "met by stock and parts due", "met with the order too", "not met"
# Each with its colour, how much it is filled and the mark on top of its bars.
_COVERS = {
    STOCK: (SIGNAL, 1.0, "circle"),
    ORDER: (BAND, 0.45, "square"),
    NEITHER: (DROPOUT, 0.0, "cross"),
}
NOW, AFTER = "without an order", "with the orders advised"
_LINES = {NOW: (DROPOUT, [6, 4], "diamond"), AFTER: (SIGNAL, [1, 0], "circle")}


def demand_chart(demand: pd.DataFrame, row: dict, *, ink: str = INK) -> alt.LayerChart:
    """How likely each number of parts is; full bars are met today, empty ones not at all.

    Parameters
    ----------
    demand : DataFrame
        STOCK_DEMAND of one shop and part.
    row : dict
        Its row of STOCK_ROWS.
    ink : str
        Colour of letters and axes.
    """
    frame = covered(demand, row)
    words = [word for word in _COVERS if frame["covered"].eq(word).any()]
    colours, filled, shapes = (list(c) for c in zip(*(_COVERS[w] for w in words), strict=True))
    colour = alt.Scale(domain=words, range=colours)
    base = alt.Chart(frame).encode(
        x=alt.X(
            "parts:O",
            title="Parts asked for",
            axis=alt.Axis(labelAngle=0, labelOverlap=True, values=_ticks(len(frame))),
        ),
        y=alt.Y("in_100:Q", title="Chance, in 100", axis=alt.Axis(tickCount=5)),
        tooltip=[
            alt.Tooltip("parts:O", title="Parts asked for"),
            alt.Tooltip("in_100:Q", title="Chance, in 100", format=".2f"),
            alt.Tooltip("up_to_in_100:Q", title="So many or fewer, in 100", format=".2f"),
            alt.Tooltip("covered:N", title="They would be"),
        ],
    )
    # the channels' legends are alike, so that they are drawn as one
    alike = {"field": "covered", "type": "nominal", "title": None, "sort": words}
    bars = base.mark_bar(strokeWidth=2).encode(
        color=alt.Color(scale=colour, **alike),
        stroke=alt.Stroke(scale=colour, **alike),
        fillOpacity=alt.FillOpacity(scale=alt.Scale(domain=words, range=filled), **alike),
    )
    marks = base.mark_point(size=130, filled=True, opacity=1).encode(
        color=alt.Color(scale=colour, **alike),
        shape=alt.Shape(scale=alt.Scale(domain=words, range=shapes), **alike),
    )
    sensors = counted(int(row["n_sensors"]), "sensor")
    count = [f"n = {sensors}; in {counted(int(row['covered_days']), 'day')}"]
    chart = alt.layer(bars, marks).properties(title=titled("Parts asked for, chance in 100", count))
    return _with_legend(readable(chart, 480, ink), ink)


def covered(demand: pd.DataFrame, row: dict) -> pd.DataFrame:
    """Each number of parts with whether stock, or the order too, would meet it."""
    frame = plain_frame(demand)
    here, after = positions(row)
    parts = frame["parts"]
    frame["covered"] = np.select([parts <= here, parts <= after], [STOCK, ORDER], NEITHER)
    frame["in_100"] = 100 * frame["chance"]
    frame["up_to_in_100"] = 100 * frame["up_to"]
    frame["parts"] = frame["parts"].astype(int)
    return frame


def positions(row: dict) -> tuple[int, int]:
    """Parts there by the end of the days covered: without and with what is advised."""
    moved = int(row["transfer_in"]) - int(row["transfer_out"])
    return int(row["there"]), int(row["there"]) + moved + int(row["order_parts"])


def demand_reading(demand: pd.DataFrame, row: dict) -> str:
    """What the chart shows, in a sentence."""
    most = demand.loc[demand["chance"].idxmax()]
    here, after = positions(row)
    old = (
        f", once the stock of {row['used_for']} is used where it fits" if row["old_on_hand"] else ""
    )
    said = (
        f"In {counted(int(row['covered_days']), 'day')} {expected(row['need'])} "
        f"parts are expected to be asked for{old}; most likely {int(most['parts'])}. "
        f"With {here} there, a need goes unmet with a chance of "
        f"{unmet(row['short_now'])} in 100"
    )
    if after == here:
        return f"{said}."
    return f"{said}; with {after}, as advised, {unmet(row['short_after'])} in 100."


def weeks_chart(weeks: pd.DataFrame, *, ink: str = INK) -> alt.LayerChart:
    """Chance that some need is unmet at each week's end, without and with the orders advised.

    Parameters
    ----------
    weeks : DataFrame
        STOCK_WEEKS of one shop and part.
    ink : str
        Colour of letters and axes.
    """
    frame = plain_frame(weeks).melt(
        ["week", "ends_on", "need_by_then"], ["short_now", "short_after"], "column", "chance"
    )
    frame["what"] = frame["column"].map({"short_now": NOW, "short_after": AFTER})
    frame["in_100"] = 100 * frame["chance"]
    words = list(_LINES)
    colours, dashes, shapes = zip(*_LINES.values(), strict=True)
    base = alt.Chart(frame).encode(
        x=alt.X("ends_on:T", title="Week ending", axis=_week_axis(weeks)),
        y=alt.Y("in_100:Q", title="Chance, in 100", scale=alt.Scale(domain=[0, 100])),
        color=alt.Color("what:N", title=None, scale=alt.Scale(domain=words, range=list(colours))),
        tooltip=[
            alt.Tooltip("ends_on:T", title="Week ending", format="%Y-%m-%d"),
            alt.Tooltip("what:N", title="Orders"),
            alt.Tooltip("in_100:Q", title="A need unmet, in 100", format=".1f"),
            alt.Tooltip("need_by_then:Q", title="Parts expected by then", format=".1f"),
        ],
    )
    dash = alt.StrokeDash("what:N", title=None, scale=alt.Scale(domain=words, range=list(dashes)))
    shape = alt.Shape("what:N", title=None, scale=alt.Scale(domain=words, range=list(shapes)))
    lines = base.mark_line(strokeWidth=3).encode(strokeDash=dash)
    points = base.mark_point(size=110, filled=True, opacity=1).encode(shape=shape)
    whole = expected(float(weeks["need_by_then"].max()))
    count = [f"n = {counted(len(weeks), 'week')}, {whole} parts expected in them"]
    chart = alt.layer(lines, points).properties(
        title=titled("A need unmet at the week's end", count)
    )
    return _with_legend(readable(chart, 480, ink), ink)


def weeks_reading(weeks: pd.DataFrame, row: dict) -> str:
    """What the chart shows, in a sentence; ``row`` is the part's row of STOCK_ROWS."""
    last = weeks.iloc[-1]
    can_come = weeks[7 * weeks["week"] >= row["lead_time_days"]]
    later = int(weeks["order_expected"].sum())
    orders = f"it and {counted(later, 'part')} ordered later" if later else "it"
    said = (
        f"Without an order a need is unmet on {day(last['ends_on'])} with a chance of "
        f"{unmet(last['short_now'])} in 100."
    )
    if can_come.empty:
        return f"{said} An order placed today comes after the weeks shown."
    worst = can_come.loc[can_come["short_after"].idxmax()]
    most = unmet(worst["short_after"])
    chance = (
        "below 1 in 100"
        if most.startswith("less")
        else f"at most {most} in 100 (week ending {day(worst['ends_on'])})"
    )
    return f"{said} From when an order placed today can be there, with {orders}, it is {chance}."


def _week_axis(weeks: pd.DataFrame) -> alt.Axis:
    ends = [f"{end:%Y-%m-%d}" for end in weeks["ends_on"]]
    return alt.Axis(format="%Y-%m-%d", values=ends, labelOverlap=True)


def _ticks(many: int) -> list[int]:
    return list(range(0, many, 1 if many <= 12 else 2 if many <= 24 else 5 if many <= 60 else 10))


def _with_legend(chart: alt.LayerChart, ink: str) -> alt.LayerChart:
    return chart.configure_legend(
        orient="bottom",
        direction="vertical",
        columns=1,
        labelLimit=420,
        labelColor=ink,
        labelFontSize=LABEL_PX,
        symbolSize=220,
        symbolStrokeWidth=3,
    )
