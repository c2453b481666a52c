"""Run the project's .sql files: one statement a file, its grain in the first comment."""

from __future__ import annotations

from collections.abc import Iterable
from functools import cache
from pathlib import Path
from typing import Any

import duckdb
import pandas as pd
import pyarrow as pa

ROOT = Path(__file__).parent


@cache
def statement(name: str) -> str:
    """The text of ``pipeline/<name>.sql``."""
    return (ROOT / f"{name}.sql").read_text(encoding="utf-8")


def run(
    connection: duckdb.DuckDBPyConnection, name: str, parameters: dict[str, Any] | None = None
) -> duckdb.DuckDBPyConnection:
    """Execute ``pipeline/<name>.sql`` with named parameters; the result can be fetched from."""
    return connection.execute(statement(name), parameters or {})


def connect(path: Path | None = None, *, read_only: bool = False) -> duckdb.DuckDBPyConnection:
    """Open DuckDB as the whole pipeline wants it: UTC, nothing fetched, order of rows kept."""
    connection = duckdb.connect(str(path) if path else ":memory:", read_only=read_only)
    connection.execute("set TimeZone = 'UTC'")
    connection.execute("set global TimeZone = 'UTC'")  # of cursors taken from it, too
    connection.execute("set autoinstall_known_extensions = false")
    connection.execute("set enable_progress_bar = false")
    return connection


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
    _from_frame(connection, f"create table marts.{name} as", frame)


def store_parts(
    connection: duckdb.DuckDBPyConnection,
    name: str,
    parts: Iterable[pd.DataFrame | pa.RecordBatchReader],
) -> None:
    """Keep frames of the same columns one after another as ``marts.<name>``, one in memory."""
    for place, part in enumerate(parts):
        if not place:
            store(connection, name, part)
        else:
            store_more(connection, name, part)


def store_more(
    connection: duckdb.DuckDBPyConnection, name: str, frame: pd.DataFrame | pa.RecordBatchReader
) -> None:
    """Keep a frame's rows in ``marts.<name>`` behind those that are there."""
    _from_frame(connection, f"insert into marts.{name}", frame)


def _from_frame(
    connection: duckdb.DuckDBPyConnection, to: str, frame: pd.DataFrame | pa.RecordBatchReader
) -> None:
    if isinstance(frame, pd.DataFrame):
        # Arrow's columns are read as they lie; a frame's texts would be turned over one by one, and
        # its categories into a type of their own.
        frame = pa.Table.from_pandas(frame, preserve_index=False)
    connection.register("stored_frame", frame)
    connection.execute(f"{to} from stored_frame")
    connection.unregister("stored_frame")
