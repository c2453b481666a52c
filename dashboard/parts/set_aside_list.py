"""Records that wait or were set aside, as a table that can be taken away as CSV."""

from __future__ import annotations

from collections.abc import Callable

import pandas as pd
import streamlit as st

from dashboard.markup import table
from dashboard.sieve import csv
from dashboard.words import counted
from pipeline.access.worklist_view import MOST_SET_ASIDE

ROWS_SHOWN = MOST_SET_ASIDE
_COLUMNS = {
    "File": "file",
    "Line": "line",
    "Table": "table",
    "Key": "key",
    "Column": "column",
    "Value": "value",
    "Reason": "reason",
}


def show_set_aside(
    rows: pd.DataFrame,
    *,
    of: str,
    count: int | None = None,
    whole: Callable[[], pd.DataFrame] | None = None,
) -> None:
    """SET_ASIDE rows under a fold with their count; ``of`` says whose they are.

    Where ``rows`` are the first alone, ``count`` says how many there are and ``whole`` reads all.
    """
    if rows.empty:
        return
    count = len(rows) if count is None else count
    title = f"{counted(count, 'entry', 'entries')} set aside {of}"
    fold = st.expander(title, key="set_aside", on_change="rerun")
    if not fold.open:
        return
    with fold:
        shown = rows.head(ROWS_SHOWN)
        caption = "Correct these in the file they came in and hand it in again."
        if count > len(shown):
            caption += f" The first {len(shown)} of {count:,}; the CSV file holds all."
        st.html(table(shown, _COLUMNS, caption))
        st.download_button(
            "Save these as CSV",
            data=lambda: csv(rows if whole is None else whole()),
            file_name="set_aside.csv",
            mime="text/csv",
            key="set_aside_csv",
            on_click="ignore",
        )
