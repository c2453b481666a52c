"""Hold what is published against itself and against what was handed in."""

from __future__ import annotations

from collections.abc import Iterator

import duckdb

from pipeline.home import Home, HomeError
from pipeline.intake.contract import TABLES
from pipeline.intake.receive import handed_files
from pipeline.jobs.keeping.findings import NEXT_BUILD, Finding
from pipeline.jobs.progress import LongWork
from pipeline.statements import connect, one_row, run
from pipeline.warehouse.damage import damage, mark_damaged
from pipeline.warehouse.mart_keys import KEYS
from pipeline.warehouse.publish import (
    DamagedVersionError,
    Manifest,
    manifest_paths,
    published,
    read_manifest,
)


def published_findings(home: Home, work: LongWork) -> list[Finding]:
    """What is wrong with the versions there are; the newest that can be read is looked through."""
    found = []
    for path in work.each("Looking through what is published", "version", manifest_paths(home)):
        try:
            manifest = read_manifest(home, path)
        except DamagedVersionError as error:
            if path.exists():
                found.append(_of_version(int(path.stem), str(error)))
            continue
        why = damage(manifest)
        if why:
            mark_damaged(home, manifest, why)
            found.append(_of_version(manifest.version, f"its warehouse is damaged: {why}"))
    work.stage("Holding what is published against what was handed in")
    newest = next(published(home), None)
    return [*found, *(_in_newest(home, newest) if newest else _none(home))]


def _of_version(version: int, what: str) -> Finding:
    then = "It is passed over; the next build publishes a new version and takes it away."
    return Finding(f"published/{version:06d}.json", what.rstrip("."), NEXT_BUILD, then)


def _none(home: Home) -> Iterator[Finding]:
    then = "The next build publishes them."
    if handed_files(home):
        yield Finding("published", "there are no records to be read", NEXT_BUILD, then)


def _in_newest(home: Home, manifest: Manifest) -> list[Finding]:
    where = f"published/{manifest.path.name}"
    if not manifest.is_current:
        what = "it was published by another version of Wear Atlas, so that it is not looked through"
        return [Finding(where, what, NEXT_BUILD)]
    connection = connect(manifest.path, read_only=True)
    try:
        wrong = [
            *_files_apart(connection, home, manifest),
            *_accounting(connection),
            *_staging_apart(connection),
            *_keys_broken(connection),
        ]
    except duckdb.Error as error:
        wrong = [f"it cannot be looked through: {str(error).splitlines()[0]}"]
    finally:
        connection.close()
    return [Finding(where, what, NEXT_BUILD) for what in wrong]


def _files_apart(
    connection: duckdb.DuckDBPyConnection, home: Home, manifest: Manifest
) -> Iterator[str]:
    """The files it was made from are those handed in up to its hand-in."""
    try:
        handed = {
            (file.hand_in, file.file_no, file.name)
            for file in handed_files(home)
            if file.hand_in <= manifest.hand_in
        }
    except HomeError:
        return  # a damaged card, which is told of beside
    held = {tuple(row) for row in run(connection, "warehouse/sql/check/files_held").fetchall()}
    if held - handed:
        yield f"it holds {len(held - handed):,} files that are not handed in here"
    if handed - held:
        yield f"it lacks {len(handed - held):,} files that were handed in before it was built"


def _accounting(connection: duckdb.DuckDBPyConnection) -> Iterator[str]:
    for what, rows in run(connection, "warehouse/sql/check/outcomes").fetchall():
        if rows:
            yield f"its counts of rows do not come out: {rows:,} {what}"


def _staging_apart(connection: duckdb.DuckDBPyConnection) -> Iterator[str]:
    """Every row in force stands in its table once, and nothing else does."""
    standing = dict(run(connection, "warehouse/sql/check/standing_counts").fetchall())
    for name, table in TABLES.items():
        if name == "retract":
            continue
        (count,) = one_row(connection.execute(f'select count(*) from staging."{name}"'))  # noqa: S608
        wanted = standing.get(name, 0)
        if count != wanted:
            yield f"staging.{name} has {count:,} rows, and {wanted:,} are in force"
        key = _TEST_KEY if table.bulk else table.key
        yield from _key_broken(connection, "staging", name, key)


_TEST_KEY = ("session_id",)


def _keys_broken(connection: duckdb.DuckDBPyConnection) -> Iterator[str]:
    tables = run(connection, "warehouse/sql/check/tables").fetchall()
    there = {table for schema, table in tables if schema == "marts"}
    for table in sorted(there):
        if KEYS.get(table):
            yield from _key_broken(connection, "marts", table, KEYS[table])


def _key_broken(
    connection: duckdb.DuckDBPyConnection, schema: str, table: str, key: tuple[str, ...]
) -> Iterator[str]:
    columns = ", ".join(f'"{column}"' for column in key)
    blank = " or ".join(f'"{column}" is null' for column in key)
    count, blanks, distinct = one_row(
        connection.execute(
            f"select count(*), count(*) filter ({blank}), count(distinct ({columns}, 0)) "  # noqa: S608
            f'from {schema}."{table}"'
        )
    )
    if blanks:
        yield f"{schema}.{table} has {blanks:,} rows whose key ({columns}) is blank"
    if distinct != count:
        yield f"{schema}.{table} has {count - distinct:,} rows whose key ({columns}) is not its own"
