"""Read made files as a hand-in does, and say what went wrong with the reading."""

from __future__ import annotations

import tempfile
from datetime import date
from pathlib import Path

import duckdb

from pipeline.intake.arriving import arrival
from pipeline.intake.read_rows import read_into
from pipeline.intake.read_sweeps import samples_into
from pipeline.intake.receive import HandedFile
from pipeline.statements import one_row
from tests.fuzz.held_to import faults_of, records_in, rows_of_parquet, table_named
from tests.fuzz.made_files import MadeFile

ON = date(2026, 6, 1)
#: Words of an error nobody foresaw: damage that is foreseen has words of ours.
UNFORESEEN = "is damaged and cannot be read"


def amiss(connection: duckdb.DuckDBPyConnection, file: MadeFile, folder: Path) -> list[str]:
    """Read one file; what cannot be so of the result, nothing where all holds."""
    path = folder / file.name
    path.write_bytes(file.content)
    try:
        with tempfile.TemporaryDirectory(dir=folder) as sheets:
            (found,) = arrival([path], Path(sheets), names={}).files
            return _read(connection, file, found)
    finally:
        path.unlink()


def _read(connection: duckdb.DuckDBPyConnection, file: MadeFile, found) -> list[str]:
    table = table_named(file.name)
    handed = HandedFile(1, 1, found.name, found.path, ON, found.trouble, found.columns)
    (samples_into if table.bulk and not found.trouble else read_into)(connection, handed)
    said = faults_of(connection, table)
    whole = connection.execute("select reason from read_issues where effect = 'file'").fetchall()
    if whole:
        foreseen = file.is_damaged and not file.name.endswith((".csv", ".txt"))
        if UNFORESEEN in whole[0][0] and not foreseen:
            said.append(f"not foreseen: {whole[0][0]}")
        return said
    (read,) = one_row(
        connection.execute("select coalesce(sum(row_count), 0)::bigint from read_rows")
    )
    expected = _expected(file, found.path)
    if read != expected:
        said.append(f"{read} rows of {expected}")
    return said


def _expected(file: MadeFile, path: Path) -> int | None:
    if file.records is not None:
        return file.records
    if path.suffix == ".parquet":
        return rows_of_parquet(path)
    return records_in(path.read_bytes())
