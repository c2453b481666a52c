"""A rate by group: its share as a diamond on its likely range, the rate of all as a line."""

from __future__ import annotations

import altair as alt
import numpy as np
import pandas as pd

from dashboard.charts.parts import INK, plain_frame, readable, titled
from dashboard.look import DROPOUT, NO_EVIDENCE
from dashboard.wording.repairs_words import FEW
from dashboard.words import counted

_ROW_PX, _AROUND_PX = 34, 150
SHOWN = 30


def rates_chart(
    rates: pd.DataFrame, rate: str, by: str, title: str, *, ink: str = INK
) -> alt.LayerChart:
    """One line a group, those with most jobs first.

    Parameters
    ----------
    rates : DataFrame
        REPAIR_RATES.
    rate, by, title : str
        Which rate in which groups, and what it is called.
    ink : str
        Colour of letters and axes.
    """
    whole = rates[rates["rate"].eq(rate) & rates["by"].eq("all")]
    frame = placed(rates, rate, by)
    names = frame["name"].tolist()
    axis = alt.Axis(labelLimit=200, labelPadding=14, labelOverlap=False, title=None)
    base = alt.Chart(frame).encode(y=alt.Y("name:N", sort=names, axis=axis))
    x = alt.X(
        "low_100:Q",
        title="Of 100 jobs",
        scale=alt.Scale(domain=[0, _reach(frame)], nice=False),
        axis=alt.Axis(tickCount=5),
    )
    told = [
        alt.Tooltip("name:N", title="Group (n)"),
        alt.Tooltip("share_100:Q", title="Of 100 jobs", format=".0f"),
        alt.Tooltip("low_100:Q", title="Range, from", format=".0f"),
        alt.Tooltip("high_100:Q", title="Range, to", format=".0f"),
    ]
    ranges = base.mark_rule(strokeWidth=7, opacity=1, color=NO_EVIDENCE).encode(
        x=x, x2="high_100:Q"
    )
    points = base.mark_point(
        shape="diamond", size=170, opacity=1, stroke=DROPOUT, fill=DROPOUT, strokeWidth=2
    ).encode(
        x="share_100:Q",
        tooltip=told,
        fillOpacity=alt.condition(f"datum.n < {FEW}", alt.value(0), alt.value(1)),
    )
    line = (
        alt.Chart(plain_frame(whole).assign(share_100=lambda f: 100 * f["share"]))
        .mark_rule(strokeDash=[6, 4], strokeWidth=2, color=ink)
        .encode(x="share_100:Q")
    )
    jobs = counted(int(whole["n"].sum()), "job")
    said = [
        f"n = {jobs}. Diamond: rate, hollow where of fewer than {FEW} jobs;",
        "bar: likely range; dashed line: rate of all jobs.",
    ]
    chart = alt.layer(ranges, points, line).properties(title=titled(title, said))
    return readable(chart, _ROW_PX * max(len(frame), 1) + _AROUND_PX, ink)


def _reach(frame: pd.DataFrame) -> int:
    """The next ten beyond the longest range, so that short ones can be told apart."""
    longest = frame["high_100"].max()
    return 100 if pd.isna(longest) else min(100, max(20, 10 * int(np.ceil(longest / 10))))


def placed(rates: pd.DataFrame, rate: str, by: str) -> pd.DataFrame:
    """The groups drawn, each with its count in its name; two of one name are told apart."""
    frame = rates[rates["rate"].eq(rate) & rates["by"].eq(by)]
    frame = plain_frame(frame.sort_values(["n", "group_name"], ascending=[False, True]))
    frame = frame.head(SHOWN).reset_index(drop=True)
    twice = frame["group_name"].duplicated(keep=False)
    name = frame["group_name"].where(~twice, frame["group_name"] + " " + frame["group_id"])
    for end in ("share", "low", "high"):
        frame[f"{end}_100"] = 100 * frame[end]
    return frame.assign(name=name + frame["n"].map(lambda n: f" ({n:,.0f})"))
