"""How many records there are: by month, and by hand-in."""

from __future__ import annotations

from functools import partial

import streamlit as st

from dashboard import records, surround
from dashboard.charts.records import records_chart
from dashboard.markup import table
from dashboard.parts.save_csv import save_csv
from dashboard.parts.show_chart import show_chart
from dashboard.wording.hand_in_words import month_reading, month_words, table_words
from dashboard.words import moment
from pipeline.access.records_view import RecordsView

_KINDS = {"tests": "bench tests", "repairs": "closed repairs", "odometer": "odometer readings"}
_ROWS_SHOWN = 40


def records_part(shown: records.Shown) -> None:
    """A chart of each kind by month, and a fold with what each hand-in brought."""
    view = records.by_hand_in_and_month(shown)
    surround.heading("Records by month")
    if view.by_month.empty:
        surround.nothing("No test, repair or odometer reading is on record yet.")
    else:
        kind = st.radio(
            "Records",
            list(_KINDS),
            format_func=lambda name: _KINDS[name].capitalize(),
            key="records_kind",
            horizontal=True,
        )
        _by_month(view, kind)
    _by_hand_in(view)


def _by_month(view: RecordsView, kind: str) -> None:
    rows = view.by_month[view.by_month["kind"].eq(kind)].reset_index(drop=True)
    reading = month_reading(view.by_month, kind, _KINDS[kind])
    if not rows["record_count"].sum():
        surround.nothing(reading)
        return
    columns = {"Month": lambda r: month_words(r["month"]), "Records": "record_count"}
    draw = partial(records_chart, view.by_month, kind, _KINDS[kind])
    show_chart(draw, reading, rows.iloc[::-1], columns, name="records_by_month")


def _by_hand_in(view: RecordsView) -> None:
    surround.heading("Records by hand-in")
    rows = view.by_hand_in
    if rows.empty:
        surround.nothing("Nothing was handed in yet.")
        return
    fold = st.expander("What each hand-in brought", key="by_hand_in", on_change="rerun")
    if not fold.open:
        return
    with fold:
        columns = {
            "Hand-in": "hand_in",
            "Came": lambda r: moment(r["handed_in_at"]),
            "Rows of": lambda r: table_words(r["table_name"]),
            "Handed in": lambda r: f"{r['handed_in']:,}",
            "Accepted": lambda r: f"{r['accepted']:,}",
            "Of these new": lambda r: f"{r['new_rows']:,}",
            "Set aside": lambda r: f"{r['set_aside']:,}",
            "Of these waiting": lambda r: f"{r['waiting']:,}",
        }
        caption = "Rows by what became of them, the latest hand-in first."
        if len(rows) > _ROWS_SHOWN:
            caption += f" The first {_ROWS_SHOWN} of {len(rows):,} lines; the CSV file holds all."
        st.html(table(rows.head(_ROWS_SHOWN), columns, caption))
        save_csv(rows, "records_by_hand_in")
