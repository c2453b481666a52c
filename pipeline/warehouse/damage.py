"""Find out whether a published warehouse can be read to its last block."""

from __future__ import annotations

from collections.abc import Callable

import duckdb

from pipeline.home import Home
from pipeline.intake.seals import digest_of
from pipeline.statements import connect, run
from pipeline.warehouse.publish import Manifest, mark_damaged, published


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


def newest_as_published(
    home: Home, say: Callable[[str], None] = lambda text: None
) -> Manifest | None:
    """The newest version that is not damaged, if it is byte for byte what was published.

    Bytes are held against what they hashed to then, a fraction of the work of reading all tables;
    only a version that has changed is looked through. Not every change is damage: blocks that no
    table has are never read. Damaged ones are marked and told of until one is whole, which is what
    readers fall back on; older ones are looked through in their turn.
    """
    for manifest in list(published(home)):
        if manifest.digest and digest_of(manifest.path) == manifest.digest:
            return manifest
        if not mark_if_damaged(home, manifest):
            return None
        say(f"Version {manifest.version} is damaged. A new one takes its place")
    return None


def mark_if_damaged(home: Home, manifest: Manifest) -> bool:
    """Look through a warehouse that gave an error; pass it over from now on if it is damaged."""
    why = damage(manifest)
    if why:
        mark_damaged(home, manifest, why)
    return bool(why)
