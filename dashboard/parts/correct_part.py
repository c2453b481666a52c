"""Rows that were set aside, to be corrected in a table and handed in again."""

from __future__ import annotations

from collections.abc import Sequence

import pandas as pd
import streamlit as st

from dashboard import records, surround
from dashboard.forms.entry_troubles import not_saved, said, say_once
from dashboard.markup import Html, joined, table, tag
from dashboard.parts.arriving_part import begin_build
from dashboard.wording.hand_in_words import TABLE_NAMES, table_words
from dashboard.words import counted
from pipeline.access.set_aside_rows import SetAsideRow
from pipeline.access.views import NotThereError
from pipeline.home import HomeError
from pipeline.intake.contract import TABLES
from pipeline.intake.typed.entries import EntryError
from pipeline.jobs.correct import Corrected, Correction, correct

#: More rows at a time make a table that nobody works through.
ROWS_SHOWN = 100
ROW, WRONG, OFF = "Row", "What is wrong", "Take off the list"
_SAID, _ROUND, _KEPT = "correct_said", "correct_round", "correct_kept"
_HOW = (
    "Rows that were set aside, and rows that came in with a value left blank. Change what is wrong "
    "and hand them in again: they go the same way as every file. A row that is not to come in can "
    "be taken off the list. Rows that are left as they are stay here."
)


def correct_part(shown: records.Shown) -> None:
    """One table's rows at a time."""
    surround.heading("Set aside, to be corrected")
    say_once(_SAID)
    found = records.set_aside_rows(shown)
    if not found:
        surround.nothing("Nothing is set aside that could be corrected row by row.")
        return
    name = st.selectbox(
        "Rows of",
        list(found),
        format_func=lambda word: f"{table_words(word)}: {counted(len(found[word]), 'row')}",
        key="correct_table",
        width=480,
    )
    rows = found[name][:ROWS_SHOWN]
    more = (
        f" The first {len(rows)} of {len(found[name]):,} rows."
        if len(found[name]) > len(rows)
        else ""
    )
    st.html(tag("p", _HOW, more))
    st.html(_reasons(rows))
    kept: dict[str, dict[str, str]] = st.session_state.setdefault(_KEPT, {})
    number = st.session_state.setdefault(_ROUND, 0)
    with st.form(f"correct_{name}"):
        edited = _editor(rows, kept, f"correct_rows_{name}_{number}")
        pressed = st.form_submit_button("Hand the corrected rows in again", key="correct_save")
    if pressed:
        _save(shown, rows, corrections(rows, edited))


def _reasons(rows: Sequence[SetAsideRow]) -> Html:
    listed = pd.DataFrame(
        [
            {"row": number, "place": row.place, "key": row.key, "because": wrong_words(row)}
            for number, row in enumerate(rows, 1)
        ]
    )
    columns = {"Row": "row", "File and line": "place", "Key": "key", WRONG: "because"}
    return table(listed, columns, "What is wrong in each row, and what was expected.")


def wrong_words(row: SetAsideRow) -> Html:
    """What is wrong in a row, each column with the value that stands there."""
    said = []
    for part in row.because.split(" | "):
        column, colon, reason = part.partition(": ")
        value = row.cells.get(column) or ""
        named = colon and column in TABLES[row.table].names
        said.append(f"{column} is “{value}”: {reason}" if named and value else part)
    return joined(said, "; ")


def to_edit(rows: Sequence[SetAsideRow], kept: dict[str, dict[str, str]]) -> pd.DataFrame:
    """The rows as the editable table shows them: what is wrong first, bare columns last.

    ``kept`` are cells typed before that could not stand, by place.
    """
    names = TABLES[rows[0].table].names
    cells = [row.cells | kept.get(row.place, {}) for row in rows]
    wrong = [n for n in names if any(_names(row.because, n) for row in rows)]
    filled = [n for n in names if n not in wrong and any(c.get(n) for c in cells)]
    rest = [n for n in names if n not in wrong and n not in filled]
    frame = pd.DataFrame({ROW: range(1, len(rows) + 1)})
    for name in wrong:
        frame[name] = [cell.get(name) or "" for cell in cells]
    frame[WRONG] = [row.because for row in rows]
    frame[OFF] = False
    for name in (*filled, *rest):
        frame[name] = [cell.get(name) or "" for cell in cells]
    return frame


def _names(because: str, column: str) -> bool:
    return any(part.startswith(f"{column}: ") for part in because.split(" | "))


def _editor(rows: Sequence[SetAsideRow], kept: dict[str, dict[str, str]], key: str) -> pd.DataFrame:
    frame = to_edit(rows, kept)
    config: dict = {
        ROW: st.column_config.NumberColumn(ROW, width=60),
        OFF: st.column_config.CheckboxColumn(OFF, width=150),
        WRONG: st.column_config.TextColumn(WRONG, width=300),
    }
    return st.data_editor(
        frame,
        key=key,
        hide_index=True,
        num_rows="fixed",
        disabled=[ROW, WRONG],
        column_config=config,
        row_height=44,
        width="stretch",
    )


def corrections(rows: Sequence[SetAsideRow], edited: pd.DataFrame) -> list[tuple[int, Correction]]:
    """What was changed, each with its row's number; rows left as they are are none."""
    found = []
    names = TABLES[rows[0].table].names
    for number, (row, cells) in enumerate(zip(rows, edited.to_dict("records"), strict=True), 1):
        typed = {name: _text(cells[name]) for name in names}
        if cells[OFF]:
            found.append((number, Correction(row, None)))
        elif any(typed[name] != (row.cells.get(name) or "") for name in names):
            found.append((number, Correction(row, typed)))
    return found


def _text(value: object) -> str:
    return "" if value is None or value != value else str(value).strip()


def _save(
    shown: records.Shown, rows: Sequence[SetAsideRow], changed: list[tuple[int, Correction]]
) -> None:
    if not changed:
        not_saved(["No row was changed or taken off."])
        return
    try:
        done = correct(shown.home, [one for _, one in changed], asker=shown.asker)
    except (HomeError, NotThereError, EntryError) as error:
        not_saved([str(error)])
        return
    reasons = _still_wrong(changed, done)
    if not done.saved:
        not_saved(reasons)
        return
    kept = st.session_state[_KEPT]
    for place, (_, one) in enumerate(changed):
        if place in done.troubles and one.cells is not None:
            kept[one.row.place] = dict(one.cells)
        else:
            kept.pop(one.row.place, None)
    name = TABLE_NAMES[rows[0].table].lower()
    words = f"{counted(done.saved, 'row')} of {name} handed in again."
    left = f" Still here: {' '.join(reasons)}" if reasons else ""
    st.session_state[_SAID] = words + left
    st.session_state[_ROUND] += 1
    begin_build(shown.home)
    st.rerun()


def _still_wrong(changed: list[tuple[int, Correction]], done: Corrected) -> list[str]:
    return [
        f"Row {changed[place][0]}: {said(trouble)}."
        for place, troubles in sorted(done.troubles.items())
        for trouble in troubles
    ]
