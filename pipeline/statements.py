"""Run the project's .sql files: one statement a file, its grain in the first comment."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from contextlib import contextmanager, suppress
from functools import cache
from pathlib import Path
from typing import Any

import duckdb
import pandas as pd
import pyarrow as pa

from pipeline.row_groups import as_table, in_groups

ROOT = Path(__file__).parent


@cache
def statement(name: str) -> str:
    """The text of ``pipeline/<name>.sql``."""
    return (ROOT / f"{name}.sql").read_text(encoding="utf-8")


def run(
    connection: duckdb.DuckDBPyConnection, name: str, parameters: dict[str, Any] | None = None
) -> duckdb.DuckDBPyConnection:
    """Execute ``pipeline/<name>.sql`` with named parameters; the result can be fetched from.

    An error that it needs more memory than it may hold has the statement's name with it.
    """
    return _told_where(connection, statement(name), name, parameters or {})


def store_selected(
    connection: duckdb.DuckDBPyConnection,
    table: str,
    name: str,
    parameters: dict[str, Any],
    *,
    parts: int,
) -> None:
    """Keep what ``pipeline/<name>.sql`` selects as ``table``, a part of the rows at a time.

    For joins that would fill the memory at once. The statement leaves out what is not of ``part``,
    which is 0 to ``parts`` - 1; both are among its parameters.
    """
    for part in range(parts):
        to = f"insert into {table}" if part else f"create table {table} as"
        of_part = {**parameters, "part": part, "parts": parts}
        _told_where(connection, f"{to}\n{statement(name)}", name, of_part)


def _told_where(
    connection: duckdb.DuckDBPyConnection, text: str, name: str, parameters: dict[str, Any]
) -> duckdb.DuckDBPyConnection:
    try:
        return connection.execute(text, parameters)
    except duckdb.OutOfMemoryException as error:
        error.add_note(f"{name}.sql")
        raise


def connect(path: Path | None = None, *, read_only: bool = False) -> duckdb.DuckDBPyConnection:
    """Open DuckDB as the whole pipeline wants it: UTC, nothing fetched, order of rows kept."""
    connection = duckdb.connect(str(path) if path else ":memory:", read_only=read_only)
    connection.execute("set TimeZone = 'UTC'")
    connection.execute("set global TimeZone = 'UTC'")  # of cursors taken from it, too
    connection.execute("set autoinstall_known_extensions = false")
    connection.execute("set enable_progress_bar = false")
    return connection


@contextmanager
def held_open(path: Path) -> Iterator[None]:
    """Hold a published version open, so that to open it again within costs next to nothing.

    It only saves time: where it cannot be opened, whoever needs it finds out.
    """
    connection = None
    with suppress(duckdb.Error):
        connection = connect(path, read_only=True)
    try:
        yield
    finally:
        if connection is not None:
            connection.close()


def one_row(result: duckdb.DuckDBPyConnection) -> tuple:
    """The single row of a result, read to its end: DuckDB takes no more work before that."""
    (row,) = result.fetchall()
    return row


def store(
    connection: duckdb.DuckDBPyConnection, name: str, frame: pd.DataFrame | pa.RecordBatchReader
) -> None:
    """Keep a frame, or what comes by and by as if it were one, as ``marts.<name>``.

    Texts that stand as categories are kept as the texts.
    """
    rows: pa.Table | pa.RecordBatchReader
    if isinstance(frame, pd.DataFrame):
        rows = as_table(frame)
    else:
        batches = (batch for table in in_groups(_tables(frame)) for batch in table.to_batches())
        rows = pa.RecordBatchReader.from_batches(frame.schema, batches)
    _from_rows(connection, f"create table marts.{name} as", rows)


def store_parts(
    connection: duckdb.DuckDBPyConnection,
    name: str,
    parts: Iterable[pd.DataFrame | pa.RecordBatchReader],
) -> None:
    """Keep parts of the same columns one after another as ``marts.<name>``, few in memory."""
    tables = in_groups(table for part in parts for table in _tables(part))
    for place, table in enumerate(tables):
        to = f"insert into marts.{name}" if place else f"create table marts.{name} as"
        _from_rows(connection, to, table)


def store_more(
    connection: duckdb.DuckDBPyConnection, name: str, parts: Iterable[pd.DataFrame]
) -> None:
    """Add frames of the columns of ``marts.<name>`` to it, few in memory."""
    for table in in_groups(as_table(part) for part in parts):
        _from_rows(connection, f"insert into marts.{name}", table)


def _tables(part: pd.DataFrame | pa.RecordBatchReader) -> Iterator[pa.Table]:
    if isinstance(part, pd.DataFrame):
        yield as_table(part)
    else:
        for batch in part:
            yield pa.Table.from_batches([batch])


def _from_rows(
    connection: duckdb.DuckDBPyConnection, to: str, rows: pa.Table | pa.RecordBatchReader
) -> None:
    # Arrow's columns are read as they lie; a frame's texts would be turned over one by one, and
    # its categories into a type of their own.
    connection.register("stored_rows", rows)
    try:
        connection.execute(f"{to} from stored_rows")
    except duckdb.OutOfMemoryException as error:
        error.add_note(to)
        raise
    finally:
        connection.unregister("stored_rows")
