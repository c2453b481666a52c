"""Find out whether a published warehouse can be read to its last block."""

from __future__ import annotations

import duckdb

from pipeline.home import Home
from pipeline.intake.seals import digest_of
from pipeline.statements import connect, run
from pipeline.warehouse.publish import Manifest, mark_damaged


def damage(manifest: Manifest) -> str:
    """What keeps a warehouse from being read, empty where nothing does or it is gone.

    Every block is read, since DuckDB holds each against its checksum as it reads it.
    """
    try:
        with manifest.path.open("rb") as file:
            file.read(1)
    except OSError:
        return ""  # gone, or not ours to read: that says nothing about what it holds
    try:
        connection = connect(manifest.path, read_only=True)
        try:
            for schema, table in run(connection, "warehouse/sql/check/tables").fetchall():
                connection.execute(
                    f'select sum(hash(rows)) from "{schema}"."{table}" as rows'  # noqa: S608
                ).fetchall()
        finally:
            connection.close()
    except duckdb.Error as error:
        return str(error).splitlines()[0]
    return ""


def mark_if_shut(home: Home, manifest: Manifest) -> bool:
    """The same where a warehouse does not even open: quick, since no more of it is read."""
    try:
        connect(manifest.path, read_only=True).close()
    except duckdb.Error:
        return mark_if_damaged(home, manifest)
    return False


def mark_if_changed(home: Home, manifest: Manifest) -> bool:
    """The same where a warehouse gave no error: looked through only if its file has changed.

    Its bytes are held against what they hashed to when it was published, a fraction of the work of
    reading its tables. Not every change is damage: blocks that no table has are never read.
    """
    if manifest.digest and digest_of(manifest.path) == manifest.digest:
        return False
    return mark_if_damaged(home, manifest)


def mark_if_damaged(home: Home, manifest: Manifest) -> bool:
    """Look through a warehouse that gave an error; pass it over from now on if it is damaged."""
    why = damage(manifest)
    if why:
        mark_damaged(home, manifest, why)
    return bool(why)
