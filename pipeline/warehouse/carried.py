"""Begin a build with the rows that the version published before has already.

From one day to the next hardly any row changes of those handed in, read at rest or measured. A
draft therefore begins as a copy of the version before, of which only such tables stay; whoever
fills one of them takes away the rows whose grounds have changed and adds those that are new. What
comes out is what a build from nothing gives, but for the order in which rows lie.

That holds only where the version before was made by the very code at hand, from the files that are
still the first of all files handed in, and lies there as it was published. Otherwise nothing is
carried and everything is made anew.
"""

from __future__ import annotations

import shutil
from pathlib import Path

import duckdb

from pipeline.home import Home
from pipeline.intake.receive import HandedFile
from pipeline.intake.settle import rows_digest
from pipeline.statements import connect, one_row, run
from pipeline.warehouse.publish import Manifest
from pipeline.warehouse.shape import current_code

#: Tables that stay, by schema.
CARRIED = {
    "intake": ("rows", "rows_as_read"),
    "staging": ("test_sessions", "odometer"),
    "marts": (
        *("sweep_measures", "sweep_dropouts", "sweep_profile", "sweep_passes", "sweep_findings"),
        "reading_values",
    ),
}
#: Tables that stay under another name until what rests on them is brought up to date.
BEFORE = {"sweep_contexts": "sweep_contexts_before", "static_readings": "static_readings_before"}


def can_carry(before: Manifest, home: Home, files: list[HandedFile]) -> bool:
    """Whether a version's rows are the first that a build from nothing would have.

    ``files`` is every file handed in, read by now.
    """
    if before.code != current_code():
        return False
    connection = connect(before.path, read_only=True)
    try:
        held = run(connection, "warehouse/sql/carried/files_held").fetchall()
    finally:
        connection.close()
    first = [
        (file.hand_in, file.file_no, file.name, rows_digest(home, file))
        for file in files[: len(held)]
    ]
    return bool(held) and held == first


def begin_with(before: Manifest, draft: Path) -> None:
    """Lay down a draft with nothing but the tables carried over from a version."""
    shutil.copyfile(before.path, draft)
    connection = connect(draft)
    try:
        _drop_all_but_carried(connection)
        for name, kept_as in BEFORE.items():
            if is_there(connection, "marts", name):
                connection.execute(f"alter table marts.{name} rename to {kept_as}")
        for table in CARRIED["staging"]:
            connection.execute(
                f"delete from staging.{table} "  # noqa: S608 - declared above
                "where row_id in (select row_id from intake.rows_as_read)"
            )
        run(connection, "warehouse/sql/carried/take_out_blanked")
        run(connection, "warehouse/sql/carried/put_back_as_read")
        connection.execute("delete from intake.rows_as_read")
        connection.execute("checkpoint")
    finally:
        connection.close()


def is_there(connection: duckdb.DuckDBPyConnection, schema: str, table: str) -> bool:
    """Whether a table stands in the database that the connection works in."""
    name = {"schema": schema, "table": table}
    return bool(one_row(run(connection, "warehouse/sql/carried/tables_there", name))[0])


def _drop_all_but_carried(connection: duckdb.DuckDBPyConnection) -> None:
    kept = {(schema, table) for schema, tables in CARRIED.items() for table in tables}
    kept |= {("marts", table) for table in BEFORE}
    for kind, schema, name in run(connection, "warehouse/sql/carried/made_before").fetchall():
        if (schema, name) not in kept:
            connection.execute(f'drop {kind} "{schema}"."{name}"')


def leave_to_stage(connection: duckdb.DuckDBPyConnection, name: str) -> None:
    """Take rows away that do not stand as they were staged; ``to_stage`` is what is missing."""
    table = f"staging.{name}"
    connection.execute(
        f"delete from {table} where row_id in (select row_id from intake.out_of_force "  # noqa: S608
        "union all select row_id from intake.rows_as_read)"
    )
    connection.execute(
        "create or replace temp table unstaged as select row_id from intake.rows "  # noqa: S608
        f"anti join intake.out_of_force using (row_id) anti join {table} using (row_id) "
        f"where table_name = '{name}'"
    )
    run(connection, "warehouse/sql/carried/unstaged_to_stage")
