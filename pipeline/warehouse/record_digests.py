"""Rows and a digest of every table of the records that stand, to hold two builds side by side."""

from __future__ import annotations

import duckdb

from pipeline.statements import connect, one_row, run
from pipeline.warehouse.publish import Manifest

Digests = dict[str, tuple[int, str]]


def record_digests(manifest: Manifest) -> Digests:
    """By staging table: how many rows it has, and a digest that their order does not change.

    Two builds from the same files, on whatever days, have the same; they are of no use beside a
    build by other code.
    """
    connection = connect(manifest.path, read_only=True)
    try:
        names = [
            row[0] for row in run(connection, "warehouse/sql/compare/contract_tables").fetchall()
        ]
        return {name: _digest(connection, name) for name in names}
    finally:
        connection.close()


def _digest(connection: duckdb.DuckDBPyConnection, name: str) -> tuple[int, str]:
    # a sum, so that a row that is there twice counts twice
    count, total = one_row(
        connection.execute(
            "select count(*), sum(md5_number_lower(rows::varchar)) "  # noqa: S608 - our own tables
            f'from staging."{name}" as rows'
        )
    )
    return count, str(total or 0)
