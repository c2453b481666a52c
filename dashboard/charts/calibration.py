"""Defects expected and found, group by group."""

from __future__ import annotations

import altair as alt
import pandas as pd

from dashboard.charts.parts import INK, LABEL_PX, plain_frame, readable, titled
from dashboard.look import DROPOUT, NO_EVIDENCE
from dashboard.wording.trust_words import expected_range, group_names
from dashboard.words import counted

EXPECTED, FOUND = "expected (bar: 9 in 10)", "found"
_SHAPES = {EXPECTED: ("square", NO_EVIDENCE), FOUND: ("diamond", DROPOUT)}
_ROW_PX, _AROUND_PX = 34, 210


def calibration_chart(rows: pd.DataFrame, *, ink: str = INK) -> alt.LayerChart:
    """Expected as a square on its range, found as a diamond; one line a group, with its n.

    Parameters
    ----------
    rows : DataFrame
        BACKTEST_CALIBRATION rows of one grouping.
    ink : str
        Colour of letters and axes.
    """
    frame = _placed(rows)
    order = frame["name"].tolist()
    whole = bool(rows["by"].eq("tenth").all())
    axis = alt.Axis(
        labelLimit=180,
        labelPadding=8,
        labelOverlap=False,
        labelFlush=False,
        titleAnchor="start",
        titleAngle=0,
        titleAlign="left",
        titleX=0,
        titleY=-8,
    )
    y = alt.Y(
        "name:N", sort=order, title="Chance stated, in 100 (n)" if whole else "Group (n)", axis=axis
    )
    base = alt.Chart(frame).encode(y=y)
    x = alt.Scale(domainMin=0, nice=True)
    ranges = base.mark_rule(strokeWidth=10, opacity=0.55, color=NO_EVIDENCE).encode(
        x=alt.X("low:Q", scale=x, title="Defects", axis=alt.Axis(tickCount=6)), x2="high:Q"
    )
    words = list(_SHAPES)
    shapes, colours = zip(*_SHAPES.values(), strict=True)
    told = {
        "shape": alt.Shape("what:N", scale=alt.Scale(domain=words, range=list(shapes)), title=None),
        "color": alt.Color(
            "what:N", scale=alt.Scale(domain=words, range=list(colours)), title=None
        ),
    }
    points = [
        base.transform_calculate(what=f"'{what}'")
        .mark_point(size=size, filled=True, opacity=1)
        .encode(x=alt.X(f"{name}:Q"), tooltip=_tooltip(), **told)
        for what, name, size in ((EXPECTED, "expected", 70), (FOUND, "found", 130))
    ]
    count = counted(int(frame["n"].sum()), "look")
    defects = counted(int(frame["found"].sum()), "defect")
    chart = alt.layer(ranges, *points).properties(
        title=titled("Defects expected and found", f"n = {count}, {defects} found")
    )
    drawn = readable(chart, _ROW_PX * len(frame) + _AROUND_PX, ink)
    return drawn.configure_legend(
        orient="bottom",
        direction="vertical",
        columns=1,
        labelLimit=420,
        labelColor=ink,
        labelFontSize=LABEL_PX,
    )


def _placed(rows: pd.DataFrame) -> pd.DataFrame:
    frame = plain_frame(rows)
    ends = [expected_range(row) for row in frame.to_dict("records")]
    frame["low"], frame["high"] = zip(*ends, strict=True) if ends else ([], [])
    names = group_names(rows).str.removesuffix(" in 100").to_numpy()
    return frame.assign(name=names + frame["n"].map(lambda n: f" ({n:,.0f})"))


def _tooltip() -> list[alt.Tooltip]:
    return [
        alt.Tooltip("name:N", title="Group"),
        alt.Tooltip("found:Q", title="Found", format=",.0f"),
        alt.Tooltip("expected:Q", title="Expected", format=",.1f"),
        alt.Tooltip("low:Q", title="Range, from", format=",.1f"),
        alt.Tooltip("high:Q", title="Range, to", format=",.1f"),
    ]
