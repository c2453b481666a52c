"""Hand files in: see what comes in, correct what was set aside, and what is on record."""

from __future__ import annotations

import streamlit as st

from dashboard import records, surround
from dashboard.markup import Html, bullets, facts, fold, joined, table, tag
from dashboard.parts.arriving_part import HANDED_IN, arriving_part
from dashboard.parts.column_names_part import remembered_names
from dashboard.parts.correct_part import correct_part
from dashboard.parts.records_part import records_part
from dashboard.upload_limits import COMMAND, file_limit_mb
from dashboard.wording.hand_in_words import TABLE_NAMES, became_words, column_words, table_words
from pipeline.access.hand_ins import BecameOf, became_of
from pipeline.home import DEMO
from pipeline.intake.contract import TABLES

TITLE = "Hand files in"
_WHAT = (
    "One table a file or sheet, its name beginning with the table's (units.csv, "
    "test_sessions-2026-11.xlsx); the first line names the columns, in any order. Dates as "
    "2026-03-14, decimals with a point, distances in km. A blank means not known."
)
_LARGE = "Files above {:,} MB, and whole folders, are handed in by the command "
_DEMO = "What is handed in here goes into the demo, which never mixes with a shop's own records."


def show(shown: records.Shown) -> None:
    """Draw the page."""
    surround.top_line(surround.worklist_link(), TITLE)
    surround.which_records(records.by_hand_in_and_month(shown).edition, first_to_do=False)
    st.html(joined([tag("h1", TITLE), tag("p", _WHAT)]))
    if shown.home.kind == DEMO:
        st.html(tag("p", _DEMO, class_="wa-quiet"))
    st.html(_tables())
    _result(shown)
    arriving_part(shown)
    correct_part(shown)
    _in_files_only(shown)
    remembered_names(shown)
    records_part(shown)


def _tables() -> Html:
    pairs = [(table_words(name), column_words(TABLES[name])) for name in TABLE_NAMES]
    most = _LARGE.format(file_limit_mb())
    large = tag("p", most, tag("code", f"{COMMAND} FOLDER"), ".")
    return fold("What may be handed in, table by table", facts(pairs), large)


def _result(shown: records.Shown) -> None:
    """What became of the hand-in of this visit."""
    number = st.session_state.get(HANDED_IN)
    if number is None:
        return
    became = became_of(shown.home, shown.asker, number)
    if became is None:
        _wait(shown, number)
        return
    surround.heading(f"Hand-in {number}: what became of it")
    st.html(tag("div", bullets([*became_words(became), *became.notices]), class_="wa-said"))
    _by_table(became)


def _by_table(became: BecameOf) -> None:
    if became.tables.empty:
        return
    columns = {
        "Rows of": lambda row: table_words(row["table_name"]),
        "Handed in": "handed_in",
        "Accepted": "accepted",
        "Of these new": "new_rows",
        "In place of earlier ones": "replaced",
        "Unchanged": "unchanged",
        "Set aside": "set_aside",
        "Of these waiting": "waiting",
    }
    st.html(table(became.tables, columns, "Rows of this hand-in by what became of them."))


@st.fragment(run_every="3s")
def _wait(shown: records.Shown, number: int) -> None:
    """Say that a hand-in is kept, until the records hold it."""
    if became_of(shown.home, shown.asker, number) is not None:
        st.rerun(scope="app")
    waiting = records.waits(shown.home, shown.asker)
    if waiting.failed:
        said = f"Hand-in {number} is kept. The build begun for it ended: {waiting.failed}"
    else:
        said = (
            f"Hand-in {number} is kept. It is being taken up; what became of each row will stand "
            "here."
        )
    st.html(tag("div", tag("p", said, role="status"), class_="wa-said"))


def _in_files_only(shown: records.Shown) -> None:
    """What is set aside and cannot be corrected row by row."""
    rows = records.set_aside_whole(shown)
    if rows.empty:
        return
    columns = {
        "File": "file",
        "Line": "line",
        "Rows of": lambda row: table_words(row["table"]),
        "Key": "key",
        "Column": "column",
        "Value": "value",
        "What is wrong": "reason",
    }
    caption = "Correct these in the file they came in and hand it in again."
    title = f"Set aside, to be corrected in their files: {len(rows):,}"
    shown_rows = rows.head(100)
    if len(rows) > len(shown_rows):
        caption += f" The first {len(shown_rows)} of {len(rows):,}."
    st.html(fold(title, table(shown_rows, columns, caption)))


if __name__ == "__main__":
    surround.page(show)
