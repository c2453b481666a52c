"""A chart on a page: the picture, its reading in a sentence, and the same as a table."""

from __future__ import annotations

from collections.abc import Callable

import altair as alt
import pandas as pd
import streamlit as st

from dashboard import look
from dashboard.markup import Cell, table, tag
from dashboard.parts.drawn import drawn
from dashboard.parts.save_csv import save_csv

ROWS_SHOWN = 200


def show_chart(
    draw: Callable[..., alt.LayerChart],
    reading: str,
    rows: pd.DataFrame,
    columns: dict[str, str | Cell],
    *,
    name: str,
    hint: str = "",
    on_choose: Callable[[], None] | None = None,
) -> None:
    """Show a chart: ``draw`` takes the ink of the reader's theme and returns it.

    Its title and what was counted stand above it as text, since a picture would cut them off on a
    narrow screen. ``name`` is its key and the stem of its CSV file; ``hint`` says how to use it.
    `rows` are the chart's own rows: the table shows the first of them, the CSV file all.
    ``on_choose`` is called when the reader has chosen something in the chart.
    """
    chart = drawn(draw, look.ink(st.context.theme.type))
    if chart.title:
        said = [tag("span", line) for line in chart.under]
        st.html(tag("p", tag("strong", chart.title), *said, class_="wa-chart-title"))
    st.vega_lite_chart(
        chart.spec,
        width="stretch",
        key=f"chart_{name}",
        alt=reading,
        on_select=on_choose or "ignore",
    )
    st.html(tag("p", reading, f" {hint}" if hint else "", class_="wa-reading"))
    same_as_table(rows, columns, reading, name=name)


def same_as_table(
    rows: pd.DataFrame, columns: dict[str, str | Cell], reading: str, *, name: str
) -> None:
    """The rows behind a picture, in a fold."""
    # Filled only once opened, so that a page carries no table that nobody reads.
    fold = st.expander("The same as a table", key=f"table_{name}", on_change="rerun")
    if not fold.open:
        return
    with fold:
        caption = reading
        if len(rows) > ROWS_SHOWN:
            caption = f"The first {ROWS_SHOWN} of {len(rows):,} rows; the CSV file holds all."
        st.html(table(rows.head(ROWS_SHOWN), columns, caption))
        save_csv(rows, name)
