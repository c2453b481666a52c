"""Records of a CSV file that are not of the header's shape: where they stand and what they say.

DuckDB lists such a record by its byte offset and leaves it out. What can still be read of it, its
key and its bike above all, is read here, so that the row can be named, corrected and handed in
again.
"""

from __future__ import annotations

import csv

import duckdb
import numpy as np
import pandas as pd
import pyarrow as pa

from pipeline.intake.contract import BECAUSE, Table
from pipeline.intake.csv_text import BrokenFileError, line_of, record_starts
from pipeline.intake.even_text import EvenText
from pipeline.intake.harmless import as_it_was
from pipeline.statements import one_row, run

_TEXTS = pa.list_(pa.string())
#: So many bytes of a rejected record are read for its key and its cells.
_LONGEST = 100_000


def number_lines(
    connection: duckdb.DuckDBPyConnection, text: EvenText, table: Table, names: list[str], mark: str
) -> int:
    """Put each accepted record's line in place of its ordinal, and list the rejected ones.

    Returns how many were rejected.

    Fills ``reject_lines`` with line, key and readable cells of each rejected record. ``names`` are
    the header's, ``mark`` its delimiter.
    """
    starts = record_starts(text.path)
    rejected = _rejected(connection, starts)
    lines = line_of(text.path, starts)
    (count,) = one_row(connection.execute("select count(*) from raw"))
    if len(starts) - len(rejected) != count:
        raise BrokenFileError(
            f"by its quotes the file has {len(starts)} records, but only {count + len(rejected)} "
            "could be told apart: a quote is missing or left open; expected quotes in pairs"
        )
    _number(connection, np.delete(lines, rejected))
    if len(rejected):
        texts = _texts(text, starts, rejected)
        _keep(connection, starts[rejected] + 1, lines[rejected], texts, table, names, mark)
    return len(rejected)


def _number(connection: duckdb.DuckDBPyConnection, lines: np.ndarray) -> None:
    """Lines in place of ordinals; most files have one record a line, whose lines are known."""
    ordinals = np.arange(1, len(lines) + 1)
    if np.array_equal(lines, ordinals + 1):
        return
    connection.register("numbers", pd.DataFrame({"ordinal": ordinals, "file_line": lines}))
    run(connection, "intake/sql/read/number_lines")
    connection.unregister("numbers")


def _rejected(connection: duckdb.DuckDBPyConnection, starts: np.ndarray) -> np.ndarray:
    """Places of the rejected records among all records."""
    listed = connection.execute(
        "select distinct line_byte_position - 1 from reject_errors"  # DuckDB counts bytes from 1
    ).fetchall()
    offsets = np.sort(np.array([row[0] for row in listed], dtype=np.int64))
    # A record behind empty lines is rejected at the offset of the first of them.
    places = np.searchsorted(starts, offsets, side="left")
    return np.unique(places[places < len(starts)])


def _texts(text: EvenText, starts: np.ndarray, rejected: np.ndarray) -> list[str]:
    raw = text.path.read_bytes()
    ends = np.append(starts[1:], len(raw))
    records = (raw[starts[place] : ends[place]][:_LONGEST].strip(b"\r\n") for place in rejected)
    return [text.as_it_came(record).decode(errors="replace") for record in records]


def _keep(
    connection: duckdb.DuckDBPyConnection,
    offsets: np.ndarray,
    lines: np.ndarray,
    texts: list[str],
    table: Table,
    names: list[str],
    mark: str,
) -> None:
    cells = [_cells(text, table, names, mark) for text in texts]
    kept = pa.table(
        {
            "byte_position": pa.array(offsets, pa.int64()),
            "file_line": pa.array(lines, pa.int64()),
            "row_key": pa.array([_key(known, table) for known in cells], pa.string()),
            "names": pa.array([list(known) for known in cells], _TEXTS),
            "texts": pa.array([list(known.values()) for known in cells], _TEXTS),
            "record": pa.array(texts, pa.string()),
        }
    )
    connection.register("kept_rejects", kept)
    connection.execute("create or replace temp table reject_lines as from kept_rejects")
    connection.unregister("kept_rejects")


def _cells(text: str, table: Table, names: list[str], mark: str) -> dict[str, str]:
    """What stands under each known column, as far as the record goes."""
    values: list[str] = next(csv.reader([" ".join(text.splitlines())], delimiter=mark), [])
    if BECAUSE in names:
        values = [as_it_was(value) for value in values]
    return {
        name: value.strip()
        for name, value in zip(names, values, strict=False)
        if name in table.names and value.strip()
    }


def _key(cells: dict[str, str], table: Table) -> str | None:
    parts = [cells.get(name) for name in table.key]
    return "/".join(part for part in parts if part) if all(parts) else None
