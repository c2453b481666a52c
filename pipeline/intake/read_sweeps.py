"""Read one handed-in file of sweeps: samples to Parquet, one row a session to the records.

The unit of acceptance is the whole sweep of a session. Unreadable or blank values stay in their
place, blank; only a missing session, or a column without a single number, sets samples aside.
"""

from __future__ import annotations

from pathlib import Path
from tempfile import TemporaryDirectory

import duckdb

from pipeline.intake.contract import TABLES
from pipeline.intake.csv_text import BrokenFileError, record_count
from pipeline.intake.packed_samples import ROW_GROUP_SAMPLES, write_packed
from pipeline.intake.read_rows import (
    Source,
    add_issue,
    begin,
    check_columns,
    keep,
    load,
    open_source,
    refuse_troubled,
    set_aside_whole,
)
from pipeline.intake.receive import HandedFile
from pipeline.statements import one_row, run, statement

_NUMBERS = ("t_s", "signal", "signal_b", "travel_pct")
_NUMERIC_TYPES = ("DOUBLE", "FLOAT", "INT", "DECIMAL", "HUGEINT")


def read_sweeps(
    connection: duckdb.DuckDBPyConnection, file: HandedFile, rows: Path, sweeps: Path
) -> None:
    """Read a file of sweeps; samples go to ``sweeps``, one row a session to ``rows``."""
    begin(connection, ["session_id"])
    try:
        refuse_troubled(file)
        _load(connection, file)
        _keep_samples(connection, samples_path(sweeps, file.stem))
    except BrokenFileError as error:
        add_issue(connection, "file", reason=str(error))
    except Exception as error:
        set_aside_whole(connection, error)
    keep(connection, file, rows)


def samples_into(connection: duckdb.DuckDBPyConnection, file: HandedFile) -> None:
    """Read a file of sweeps into ``numbered_samples`` and ``read_issues``; nothing is kept."""
    begin(connection, ["session_id"])
    run(connection, "intake/sql/read/no_samples")
    _number_samples(connection)
    try:
        refuse_troubled(file)
        _load(connection, file)
    except BrokenFileError as error:
        add_issue(connection, "file", reason=str(error))
    except Exception as error:
        set_aside_whole(connection, error)


def read_samples(connection: duckdb.DuckDBPyConnection, file: HandedFile, sweeps: Path) -> str:
    """Read the samples of a file again, whose rows are kept; why that cannot be, if so."""
    samples_into(connection, file)
    refused = run(connection, "intake/sql/read/refused_whole").fetchall()
    if refused:
        return refused[0][0]
    _keep_samples(connection, samples_path(sweeps, file.stem))
    return ""


def samples_path(sweeps: Path, stem: str) -> Path:
    """Where the samples of one handed-in file are kept."""
    return sweeps / f"{stem}.parquet"


def _load(connection: duckdb.DuckDBPyConnection, file: HandedFile) -> None:
    """Number a file's samples in ``numbered_samples``, and say what is wrong with them.

    The caller has made the tables ``read_rows`` and ``read_issues``.
    """
    with TemporaryDirectory(prefix="even-") as folder:
        _load_from(connection, open_source(connection, file.path, Path(folder), file.columns))


def _load_from(connection: duckdb.DuckDBPyConnection, source: Source) -> None:
    missing = check_columns(connection, source, TABLES["sweeps"])
    if "session_id" in missing:
        raise BrokenFileError("the column session_id is missing; no sample can be placed")
    for table in ("reject_errors", "reject_scans"):
        connection.execute(f"drop table if exists {table}")
    columns = ", ".join(f"{_number(name, source)} as {name}" for name in _NUMBERS)
    load(
        connection,
        source,
        "create or replace temp table samples as select "  # noqa: S608 - names of the contract
        f"nullif(trim(session_id::varchar), '') as session_id, {columns}, "
        f"row_number() over () as file_order from {source.relation}",
    )
    if source.text is not None:
        _refuse_lost_records(connection, source.text.path)
    _number_samples(connection)
    wrong = _columns_without_numbers(connection, source)
    if source.is_parquet:
        connection.execute("create or replace temp table reject_errors (line bigint)")
    first_line = 1 if source.is_parquet else 2  # a CSV file has its header before
    parameters = {"wrong_type": bool(wrong), "first_line": first_line}
    run(connection, "intake/sql/read/sweep_rows", parameters)
    run(connection, "intake/sql/read/sweep_issues")
    if wrong:
        _list_wrong_columns(connection, wrong, source)
    if not source.is_parquet:
        run(connection, "intake/sql/read/sweep_rejects")
        run(connection, "intake/sql/read/sweep_reject_rows")


def _number_samples(connection: duckdb.DuckDBPyConnection) -> None:
    """Make ``numbered_samples``; only a file whose sessions are mixed has to be sorted for it."""
    (in_order,) = one_row(run(connection, "intake/sql/read/sweep_order"))
    if not in_order:
        run(connection, "intake/sql/read/sweep_sorted")
    for name in ("sweep_firsts", "sweep_samples"):
        run(connection, f"intake/sql/read/{name}")


def _refuse_lost_records(connection: duckdb.DuckDBPyConnection, path: Path) -> None:
    """Raise BrokenFileError where the reader neither gave back nor rejected every record."""
    (read,) = one_row(connection.execute("select count(*) from samples"))
    (rejected,) = one_row(connection.execute("select count(distinct line) from reject_errors"))
    there = record_count(path)
    if read + rejected != there:
        raise BrokenFileError(
            f"by its quotes the file has {there:,} records, but only {read + rejected:,} could be "
            "told apart: a quote is missing, left open or beside what it encloses; expected quotes "
            "in pairs"
        )


def _number(name: str, source: Source) -> str:
    """SQL for a sample column: its numbers, and blank where there is none to read."""
    kind = source.types.get(name)
    if kind is None or (
        source.is_parquet
        and not kind.startswith(_NUMERIC_TYPES)
        and not kind.startswith(("U", "TINY", "SMALL", "BIG"))
    ):
        return "null::double"
    if kind == "FLOAT":  # 4.55125 in single precision is meant, not 4.551249980926514
        return f'"{name}"::varchar::double'
    return f'try_cast("{name}" as double)'


def _columns_without_numbers(
    connection: duckdb.DuckDBPyConnection, source: Source
) -> dict[str, str]:
    """Required columns in which no value reads as a number, and what was found instead."""
    samples, times, signals = one_row(run(connection, "intake/sql/read/sweep_columns"))
    wrong = {}
    for name, count in (("t_s", times), ("signal", signals)):
        if samples and not count:
            wrong[name] = source.types.get(name, "missing")
    return wrong


def _list_wrong_columns(
    connection: duckdb.DuckDBPyConnection, wrong: dict[str, str], source: Source
) -> None:
    for name, kind in wrong.items():
        found = "is missing" if kind == "missing" else "holds no number"
        if source.is_parquet and kind != "missing":
            found += f" (its type is {kind})"
        run(
            connection,
            "intake/sql/read/sweep_wrong_type",
            {"column": name, "reason": f"the column {found}; expected numbers"},
        )


def _keep_samples(connection: duckdb.DuckDBPyConnection, final: Path) -> None:
    """Write the samples sorted by session, about a byte each, a row group at a time.

    They stay only until they are put together by shop and month.
    """
    ordered = connection.sql(statement("intake/sql/read/sweep_ordered"))
    write_packed(ordered.to_arrow_reader(ROW_GROUP_SAMPLES), final)
