"""Records by month."""

from __future__ import annotations

import altair as alt
import pandas as pd

from dashboard.charts.parts import INK, plain_frame, readable, titled
from dashboard.look import SIGNAL
from dashboard.words import counted


def records_chart(
    by_month: pd.DataFrame, kind: str, words: str, *, ink: str = INK
) -> alt.LayerChart:
    """A bar a month for one kind of record.

    Parameters
    ----------
    by_month : DataFrame
        RECORDS_BY_MONTH.
    kind, words : str
        Which kind, and what its records are called.
    ink : str
        Colour of letters and axes.
    """
    frame = plain_frame(by_month[by_month["kind"].eq(kind)])
    # bars begin and end with their month, so that a month without records is a gap
    frame = frame.assign(until=frame["month"] + pd.offsets.MonthBegin(1))
    bars = (
        alt.Chart(frame)
        .mark_rect(color=SIGNAL, stroke=SIGNAL, strokeWidth=0.5)
        .encode(
            x=alt.X("month:T", title="Month", axis=_months(len(frame))),
            x2="until:T",
            y=alt.Y("record_count:Q", title=f"{words.capitalize()} a month", axis=_WHOLE),
            y2=alt.datum(0),
            tooltip=[
                alt.Tooltip("month:T", title="Month", format="%Y-%m"),
                alt.Tooltip("record_count:Q", title=words.capitalize(), format=",.0f"),
            ],
        )
    )
    count = f"n = {counted(int(frame['record_count'].sum()), 'record')}"
    chart = alt.layer(bars).properties(title=titled(f"{words.capitalize()} by month", count))
    return readable(chart, 320, ink)


def _months(count: int) -> alt.Axis:
    """About six months named, each once."""
    every = next((step for step in (1, 2, 3, 6, 12, 24) if count <= 6 * step), 60)
    return alt.Axis(
        format="%Y-%m",
        tickCount=alt.TimeIntervalStep(interval="month", step=every),
        labelOverlap=True,
    )


_WHOLE = alt.Axis(format=",.0f", tickMinStep=1)
