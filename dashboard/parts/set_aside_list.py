"""Records that wait or were set aside, as a table that can be taken away as CSV."""

from __future__ import annotations

import pandas as pd
import streamlit as st

from dashboard.markup import table
from dashboard.sieve import csv
from dashboard.words import counted

ROWS_SHOWN = 100
_COLUMNS = {
    "File": "file",
    "Line": "line",
    "Table": "table",
    "Key": "key",
    "Column": "column",
    "Value": "value",
    "Reason": "reason",
}


def show_set_aside(rows: pd.DataFrame, *, of: str) -> None:
    """SET_ASIDE rows under a fold with their count; ``of`` says whose they are."""
    if rows.empty:
        return
    title = f"{counted(len(rows), 'entry', 'entries')} set aside {of}"
    fold = st.expander(title, key="set_aside", on_change="rerun")
    if not fold.open:
        return
    with fold:
        shown = rows.head(ROWS_SHOWN)
        caption = "Correct these in the file they came in and hand it in again."
        if len(rows) > len(shown):
            caption += f" The first {len(shown)} of {len(rows):,}; the CSV file holds all."
        st.html(table(shown, _COLUMNS, caption))
        st.download_button(
            "Save these as CSV",
            data=lambda: csv(rows),
            file_name="set_aside.csv",
            mime="text/csv",
            key="set_aside_csv",
            on_click="ignore",
        )
