"""Who did what, as the record of deeds has it: the latest of it, and all of it as a CSV file."""

from __future__ import annotations

import pandas as pd
import streamlit as st

from dashboard import records, surround
from dashboard.markup import folded_table, joined, tag
from dashboard.sieve import csv
from dashboard.wording.deed_words import about_words, deed_words, who_words
from dashboard.words import moment
from pipeline.access.deeds_view import deeds_view

SHOWN, OPEN = 40, 5
_WHAT = (
    "Every hand-in, correction, withdrawal, answer and change of settings, and every version of "
    "the advice, with who made it. Lines are only ever added. It judges nobody."
)
_BEFORE = "By whom is not known of what came before the record began, or was changed in a file."


def deeds_part(shown: records.Shown) -> None:
    """Draw the section."""
    surround.heading("Who did what")
    st.html(joined([tag("p", _WHAT), tag("p", _BEFORE, class_="wa-quiet")]))
    latest = deeds_view(shown.home, shown.asker, SHOWN)
    if latest.empty:
        st.html(tag("p", "Nothing is on the record yet: it begins with the next entry."))
        return
    columns = {
        "When": lambda row: moment(row["done_at"]),
        "Who": who_words,
        "What": deed_words,
        "About": about_words,
    }
    caption = f"The latest {len(latest)} deeds; the CSV file holds all."
    st.html(folded_table(latest, columns, caption, shown=OPEN, rest="earlier deeds"))
    st.download_button(
        "Save the whole record as CSV",
        data=lambda: csv(_with_times(deeds_view(shown.home, shown.asker))),
        file_name="deeds.csv",
        mime="text/csv",
        key="csv_deeds",
        on_click="ignore",
    )


def _with_times(rows: pd.DataFrame) -> pd.DataFrame:
    """Moments as text, so that the file keeps the time of day."""
    return rows.assign(done_at=rows["done_at"].dt.strftime("%Y-%m-%dT%H:%M:%SZ"))
