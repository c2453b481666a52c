"""Hand back what could not be taken in: the list of reasons, and the rows ready to correct."""

from __future__ import annotations

from pathlib import Path

import duckdb
import pandas as pd

from pipeline.home import Home, HomeError, write_new
from pipeline.intake.contract import BECAUSE, TABLES, Table
from pipeline.intake.harmless import harmless
from pipeline.statements import connect, run
from pipeline.warehouse.publish import Manifest

NOT_BY_ROW = ("sweeps", "ride_log", "retract")


def write_set_aside(home: Home, manifest: Manifest) -> tuple[Path, int]:
    """Write ``set_aside.csv`` and ``to_correct/``; return the list's path and its length.

    Raises
    ------
    HomeError
        The list is open in a program that keeps others from replacing it.
    """
    connection = connect(manifest.path, read_only=True)
    try:
        listed = run(connection, "intake/sql/report/set_aside").df()
        try:
            write_new(home.set_aside, _csv(listed))
            _write_to_correct(connection, home)
        except PermissionError as error:
            raise HomeError(
                f"{error.filename} is open in another program: close it, then run "
                "`python -m pipeline rebuild`. The records themselves are published."
            ) from error
        return home.set_aside, len(listed)
    finally:
        connection.close()


def _write_to_correct(connection: duckdb.DuckDBPyConnection, home: Home) -> None:
    home.to_correct.mkdir(exist_ok=True)
    for table in TABLES.values():
        path = home.to_correct / f"{table.name}.csv"
        rows = [] if table.name in NOT_BY_ROW else _rows_of(connection, table)
        if rows:
            write_new(path, _csv(pd.DataFrame(rows, columns=[*table.names, BECAUSE])))
        else:
            path.unlink(missing_ok=True)


def _rows_of(connection: duckdb.DuckDBPyConnection, table: Table) -> list[dict]:
    found = run(connection, "intake/sql/report/to_correct", {"table_name": table.name}).fetchall()
    return [{**cells, BECAUSE: because} for _, cells, because, *_ in found]


def _csv(frame: pd.DataFrame) -> str:
    safe = frame.astype(object).map(_harmless)
    return safe.to_csv(index=False, lineterminator="\n")


def _harmless(value: object) -> object:
    return harmless(value) if isinstance(value, str) else value
