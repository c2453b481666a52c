"""Rows that were set aside and can be corrected row by row, as they were handed in."""

from __future__ import annotations

from dataclasses import dataclass

import duckdb
import pandas as pd

from pipeline.access.entered.pending import pending_rows
from pipeline.access.frames.view_schemas import SET_ASIDE
from pipeline.access.reading import read_frame, reading
from pipeline.access.scope.allowed import view
from pipeline.asker import Asker
from pipeline.home import Home
from pipeline.intake.contract import TABLES
from pipeline.jobs.hand_back import NOT_BY_ROW
from pipeline.statements import run


@dataclass(frozen=True)
class SetAsideRow:
    """One row that was set aside, or stands with a cell left blank.

    ``key`` is None where it could not be read; ``place`` is file and line, ``cells`` what was
    handed in, column by column, ``because`` what was wrong.
    """

    table: str
    key: str | None
    place: str
    cells: dict[str, str]
    because: str


@view
def set_aside_rows(home: Home, asker: Asker) -> dict[str, list[SetAsideRow]]:
    """Rows to correct by table, in the order they came; what was typed since is left out.

    Raises
    ------
    NotThereError
        Nothing is published in this home.
    """
    with reading(home, asker) as (_, connection):
        found = {name: _rows_of(connection, name) for name in TABLES if name not in NOT_BY_ROW}
    found = {name: rows for name, rows in found.items() if rows}
    if not found:
        return {}
    typed = pending_rows(home, asker, *found, "retract")
    kept = {
        name: [row for row in rows if not _is_settled(row, typed)] for name, rows in found.items()
    }
    return {name: rows for name, rows in kept.items() if rows}


@view
def set_aside_in_files(home: Home, asker: Asker) -> pd.DataFrame:
    """What is set aside and can only be corrected in its file (SET_ASIDE): samples, whole files.

    Raises
    ------
    NotThereError
        Nothing is published in this home.
    """
    with reading(home, asker) as (_, connection):
        parameters = {"not_by_row": list(NOT_BY_ROW)}
        return read_frame(connection, "set_aside_in_files", SET_ASIDE, parameters)


def _rows_of(connection: duckdb.DuckDBPyConnection, table: str) -> list[SetAsideRow]:
    found = run(connection, "intake/sql/report/to_correct", {"table_name": table}).fetchall()
    return [
        SetAsideRow(table, key, f"{file_name}:{line}", dict(cells), because)
        for _, cells, because, key, file_name, line in found
    ]


def _is_settled(row: SetAsideRow, typed: dict[str, dict[str, dict[str, str]]]) -> bool:
    """Whether a row saved since settles this one with the next build."""
    withdrawn = typed["retract"]
    if row.key is None:
        return f"{row.table}/{row.place}" in withdrawn
    return row.key in typed[row.table] or f"{row.table}/{row.key}" in withdrawn
