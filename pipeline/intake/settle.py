"""Settle which handed-in rows stand, which are set aside, and why.

The answer is a pure function of everything ever handed in, worked out anew for each build: a row
that waits comes in by itself once its parent is there, and a corrected parent takes its children
along. Rounds of rules run until none of them finds anything more; every round only takes rows
away, so that they end.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable

import duckdb
import numpy as np
import pandas as pd
from pyarrow import parquet

from pipeline.home import Home
from pipeline.intake.contract import TABLES, table_of
from pipeline.intake.read_rows import derived_path, read_file, seal_path
from pipeline.intake.read_sweeps import read_sweeps, samples_path
from pipeline.intake.receive import HandedFile, handed_files
from pipeline.intake.seals import broken, digest_of, seal, sealed_digest
from pipeline.statements import one_row, run

#: Rows whose order is looked at, at a time.
_LINES_AT_ONCE = 1_000_000
# Each stage speaks only once the ones before it have nothing more to say: a row that waits is no
# witness, and a test dated before its sensor's fitting must not put the fitting in doubt.
STAGES = (
    ("settle/waiting",),
    (
        "history/before_fitting",
        "history/window_ends_first",
        "history/dates_out_of_order",
        "history/failed_after_closing",
        "history/test_of_another_sensor",
        "history/replaced_by_itself",
        "history/limits_crossed",
        "history/answers_without_ground",
        "history/answers_without_use",
    ),
    (
        "history/readings",
        "history/odometer_backwards",
        "history/odometer_fates",
        "history/odometer_blanks",
    ),
)


def read_all(
    connection: duckdb.DuckDBPyConnection,
    home: Home,
    say: Callable[[str], None] = lambda text: None,
    each: Callable[[list[HandedFile]], Iterable[HandedFile]] = iter,
) -> list[HandedFile]:
    """Read whatever was handed in and is not read yet; return every file ever handed in.

    What was made of a file before and is no longer whole is made anew, and said so. ``each`` goes
    through the files and may tell how far that is.
    """
    files = handed_files(home)
    for file in each(files):
        sealed = seal_path(home.rows, file)
        amiss = read_amiss(home, file)
        if not amiss:
            continue
        if sealed.exists():
            say(f"What was read of {file.name} (hand-in {file.hand_in}) {amiss}. It is read again")
        _read(connection, home, file)
    return files


def read_amiss(home: Home, file: HandedFile) -> str:
    """What is wrong with what was read of a file, as a sentence without a full stop, if anything.

    Its samples are there only until they are kept by shop and month.
    """
    samples = samples_path(home.sweeps, file.stem)
    return broken(seal_path(home.rows, file), file.sha256, may_be_gone=samples)


def rows_digest(home: Home, file: HandedFile) -> str:
    """What the rows read of a file hash to, once they are read."""
    return sealed_digest(seal_path(home.rows, file), derived_path(home.rows, file, "rows"))


def _read(connection: duckdb.DuckDBPyConnection, home: Home, file: HandedFile) -> None:
    """Read one file; where it is not as it came, the seal says so and it is read at each build."""
    table = table_of(file.name)
    samples = samples_path(home.sweeps, file.stem)
    if table is not None and table.bulk:
        read_sweeps(connection, file, home.rows, home.sweeps)
    else:
        read_file(connection, file, home.rows)
    made = [derived_path(home.rows, file, name) for name in ("rows", "issues")]
    found = digest_of(file.path) if file.sha256 else ""
    seal(seal_path(home.rows, file), [*made, samples], found)


def settle(connection: duckdb.DuckDBPyConnection, home: Home, files: list[HandedFile]) -> None:
    """Fill the schema ``intake``: rows, standing, row_outcomes, set_aside, accounting.

    Where ``intake.rows`` is there already, it holds the rows of the first of ``files`` as read.
    """
    connection.execute("create schema if not exists intake")
    _load(connection, home, files)
    _declare_contract(connection)
    connection.execute(
        "create or replace temp table fates (row_id bigint, fate varchar, column_name varchar, "
        "value varchar, reason varchar)"
    )
    connection.execute(
        "create or replace temp table blanks (row_id bigint, column_name varchar, value varchar, "
        "reason varchar)"
    )
    for name in (
        *("repeated", "doubled_keys"),
        *("retractions", "idle_retractions", "retractions", "withdrawn"),
    ):
        run(connection, f"intake/sql/settle/{name}")
    _run_rules_until_quiet(connection)
    for name in ("out_of_force", "standing", "row_outcomes", "set_aside", "accounting"):
        run(connection, f"intake/sql/settle/{name}")


def _run_rules_until_quiet(connection: duckdb.DuckDBPyConnection) -> None:
    while True:
        for name in ("fallen", "superseded", "candidates"):
            run(connection, f"intake/sql/settle/{name}")
        if not any(_stage_finds(connection, names) for names in STAGES):
            return
        for name in ("keep_as_read", "apply_blanks"):
            run(connection, f"intake/sql/settle/{name}")


def _stage_finds(connection: duckdb.DuckDBPyConnection, names: tuple[str, ...]) -> bool:
    before = _found_so_far(connection)
    for name in names:
        run(connection, f"intake/sql/{name}")
    return _found_so_far(connection) > before


def _found_so_far(connection: duckdb.DuckDBPyConnection) -> int:
    (count,) = one_row(
        connection.execute("select (select count(*) from fates) + (select count(*) from blanks)")
    )
    return count


def _load(connection: duckdb.DuckDBPyConnection, home: Home, files: list[HandedFile]) -> None:
    for name in ("no_rows", "no_rows_as_read"):
        run(connection, f"intake/sql/settle/{name}")
    if not files:  # an empty home publishes empty records
        for name in ("no_files", "no_read_issues"):
            run(connection, f"intake/sql/settle/{name}")
        return
    listed = pd.DataFrame([_described(file, home) for file in files])
    connection.register("listed_files", listed)
    connection.execute("create table intake.files as from listed_files")
    connection.unregister("listed_files")
    found = run(connection, "intake/sql/settle/files_to_load").fetchall()
    _load_rows(connection, [path for (path,) in found])
    run(connection, "intake/sql/settle/read_issues", {"paths": listed["issues_path"].tolist()})


def _load_rows(connection: duckdb.DuckDBPyConnection, paths: list[str]) -> None:
    """Add the rows of these files, numbered in order of hand-in, file name and line."""
    if not paths:
        return
    run(connection, "intake/sql/settle/row_starts", {"paths": paths})
    by_statement: dict[str, list[str]] = {"rows": [], "rows_by_line": []}
    for path in paths:
        by_statement["rows" if _is_in_order_of_lines(path) else "rows_by_line"].append(path)
    for name, some in by_statement.items():
        if some:
            run(connection, f"intake/sql/settle/{name}", {"paths": some})


def _is_in_order_of_lines(path: str) -> bool:
    """Whether the rows of a file lie as most do; a part of it at a time."""
    last = -1
    with parquet.ParquetFile(path) as file:
        for part in file.iter_batches(_LINES_AT_ONCE, columns=["line"]):
            lines = part.column("line").drop_null().to_numpy()
            if len(lines) and (lines[0] < last or (np.diff(lines) < 0).any()):
                return False
            last = lines[-1] if len(lines) else last
    return True


def _described(file: HandedFile, home: Home) -> dict:
    table = table_of(file.name)
    return {
        "hand_in": file.hand_in,
        "file_no": file.file_no,
        "file_name": file.name,
        "table_name": table.name if table else None,
        "handed_in_on": file.handed_in_on,
        "rows_path": str(derived_path(home.rows, file, "rows")),
        "issues_path": str(derived_path(home.rows, file, "issues")),
        "rows_digest": rows_digest(home, file),
    }


def _declare_contract(connection: duckdb.DuckDBPyConnection) -> None:
    """Hand the contract's keys and references to the SQL rules as two tables."""
    tables = pd.DataFrame(
        [{"table_name": table.name, "key_column": table.key[0]} for table in TABLES.values()]
    )
    references = pd.DataFrame(
        [
            {"table_name": table.name, "column_name": field.name, "parent_table": field.parent}
            for table in TABLES.values()
            for field in table.fields
            if field.parent
        ]
    )
    for name, frame in (("contract_tables", tables), ("contract_references", references)):
        connection.register("declared", frame)
        connection.execute(f"create or replace temp table {name} as from declared")
        connection.unregister("declared")
