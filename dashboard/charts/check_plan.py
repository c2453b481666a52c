"""The coming weeks as a calendar: a row a week, a column a day, each cell filled as far as booked.

How many bikes come stands in the cell as a figure, so that it can be read without colours.
"""

from __future__ import annotations

import altair as alt
import pandas as pd

from dashboard.charts.parts import INK, LABEL_PX, readable, titled
from dashboard.look import NO_EVIDENCE, SIGNAL
from dashboard.words import counted, day, number

_NAMES = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
_ROW_PX, _AROUND_PX, _GAP = 58, 110, 0.06


def calendar_chart(days: pd.DataFrame, *, ink: str = INK) -> alt.LayerChart:
    """Weeks downwards, days across; the fuller a cell, the more of its hours are planned.

    Parameters
    ----------
    days : DataFrame
        CHECK_DAYS of the shops shown; their hours are added up.
    ink : str
        Colour of letters and axes.
    """
    frame = placed(days)
    columns = sorted(frame["column"].unique())
    weeks = frame.drop_duplicates("row").sort_values("row")
    names = alt.Axis(
        values=[c + 0.5 for c in range(len(columns))],
        labelExpr=f"{[_NAMES[c] for c in columns]}[floor(datum.value)]",
        orient="top",
        ticks=False,
        domain=False,
        labelAngle=0,
    )
    starts = [f"{at:%m-%d}" for at in weeks["monday"]]
    rows = alt.Axis(
        values=[r + 0.5 for r in range(len(starts))],
        labelExpr=f"{starts}[floor(datum.value)]",
        ticks=False,
        domain=False,
    )
    across = alt.Scale(domain=[0, len(columns)], nice=False)
    down = alt.Scale(domain=[len(starts), 0], nice=False)
    x = alt.X("left:Q", title=None, scale=across, axis=names)
    y = alt.Y("top:Q", title="Week from Monday", scale=down, axis=rows)
    cell = alt.Chart(frame).encode(x=x, x2="right:Q", y=y, y2="bottom:Q", tooltip=_tooltip())
    ground = cell.mark_rect(color=NO_EVIDENCE, opacity=0.22)
    fill = (
        alt.Chart(frame[frame["visit_count"] > 0])
        .mark_rect(color=SIGNAL, opacity=0.55)
        .encode(x=x, x2="right:Q", y=alt.Y("level:Q", scale=down), y2="bottom:Q")
    )
    figure = (
        alt.Chart(frame[frame["visit_count"] > 0])
        .mark_text(fontSize=LABEL_PX + 2, fontWeight="bold", color=ink)
        .encode(x=alt.X("middle:Q", scale=across), y=alt.Y("centre:Q", scale=down), text="figure:N")
    )
    total = counted(int(frame["visit_count"].sum()), "bike")
    title = titled("Bikes that come in, day by day", [f"n = {total}. Fuller: more hours planned."])
    chart = alt.layer(ground, fill, figure).properties(title=title)
    return readable(chart, _ROW_PX * len(starts) + _AROUND_PX, ink)


def placed(days: pd.DataFrame) -> pd.DataFrame:
    """One row a day, its shops added up, with the place of its cell."""
    hours = ["check_hours", "planned_hours", "visit_count", "further_hours"]
    frame = days.astype({name: "float64" for name in hours}).groupby("on_day")[hours].sum()
    frame = frame.reset_index()
    weekday = frame["on_day"].dt.day_of_week
    frame["monday"] = frame["on_day"] - pd.to_timedelta(weekday, unit="D")
    frame["column"] = weekday
    order = {c: n for n, c in enumerate(sorted(weekday.unique()))}
    frame["row"] = frame["monday"].rank(method="dense").astype(int) - 1
    frame["left"] = weekday.map(order) + _GAP / 2
    frame["right"] = frame["left"] + 1 - _GAP
    frame["top"] = frame["row"] + _GAP
    frame["bottom"] = frame["row"] + 1.0 - _GAP
    share = (frame["planned_hours"] / frame["check_hours"].where(frame["check_hours"] > 0)).fillna(
        0
    )
    frame["level"] = frame["bottom"] - share.clip(0, 1) * (frame["bottom"] - frame["top"])
    frame["middle"] = (frame["left"] + frame["right"]) / 2
    frame["centre"] = (frame["top"] + frame["bottom"]) / 2
    frame["figure"] = frame["visit_count"].astype(int).astype(str)
    return frame


def calendar_reading(days: pd.DataFrame) -> str:
    """What the calendar shows, in a sentence."""
    frame = placed(days)
    some = frame[frame["visit_count"] > 0]
    if some.empty:
        return f"No bike comes in on any of {counted(len(frame), 'working day')}."
    most = some.loc[some["visit_count"].idxmax()]
    full = int((frame["check_hours"] - frame["planned_hours"] < 0.5).sum())
    left = f" On {counted(full, 'day')} less than half an hour is left." if full else ""
    return (
        f"Bikes come in on {len(some)} of {counted(len(frame), 'working day')}, most on "
        f"{day(most['on_day'])}: {counted(int(most['visit_count']), 'bike')}, "
        f"{number(most['planned_hours'], digits=1)} of {number(most['check_hours'], 'h', 1)}.{left}"
    )


def _tooltip() -> list[alt.Tooltip]:
    return [
        alt.Tooltip("on_day:T", title="Day", format="%Y-%m-%d"),
        alt.Tooltip("visit_count:Q", title="Bikes"),
        alt.Tooltip("planned_hours:Q", title="Hours planned", format=".1f"),
        alt.Tooltip("check_hours:Q", title="Hours for checks", format=".1f"),
    ]
