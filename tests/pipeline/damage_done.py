"""Ways in which files of a home come to harm, for the tests that mend them."""

from __future__ import annotations

import shutil
from pathlib import Path

import duckdb

from pipeline.home import Home
from pipeline.warehouse.damage import damage
from pipeline.warehouse.publish import Manifest, draft_path, newest, publish


def flip_a_byte(path: Path) -> None:
    """Let the disk give back one other byte, in the middle of a file."""
    content = bytearray(path.read_bytes())
    content[len(content) // 2] ^= 0xFF
    path.write_bytes(content)


def cut_short(path: Path) -> None:
    """Leave the first half of a file."""
    content = path.read_bytes()
    path.write_bytes(content[: len(content) // 2])


def not_a_database(path: Path) -> None:
    """Put something else in a warehouse's place."""
    path.write_bytes(b"no records here\n" * 4096)


def flip_all_blocks(path: Path) -> None:
    """Leave a warehouse's head, so that it opens, and change every block behind it."""
    content = bytearray(path.read_bytes())
    for at in range(3 * 4096 + 2048, len(content), 8192):
        content[at] ^= 0xFF
    path.write_bytes(content)


def flip_a_block_that_opening_passes_by(manifest: Manifest) -> None:
    """Change a byte of a warehouse so that it opens as before and a table cannot be read."""
    content = manifest.path.read_bytes()
    for at in range(3 * 4096 + 1000, len(content), 262_144):
        changed = bytearray(content)
        changed[at] ^= 0xFF
        manifest.path.write_bytes(changed)
        if _opens(manifest.path) and damage(manifest):
            return
    raise AssertionError("opening reads every block")


def _opens(path: Path) -> bool:
    try:
        duckdb.connect(str(path), read_only=True).close()
    except duckdb.Error:
        return False
    return True


def published_again(home: Home, change: str = "") -> None:
    """Publish the newest version once more under the next number, changed by one statement."""
    found = newest(home)
    draft = draft_path(home)
    shutil.copyfile(found.path, draft)
    if change:
        connection = duckdb.connect(str(draft))
        connection.execute(change)
        connection.close()
    publish(
        home,
        draft,
        built_at=found.built_at,
        as_of=found.as_of,
        kind=found.kind,
        hand_in=found.hand_in,
    )


def one(folder: Path, pattern: str) -> Path:
    """The first file of a folder by its pattern."""
    return sorted(folder.glob(pattern))[0]


def dump(home: Home) -> dict[str, list[tuple]]:
    """Every table of the newest version, rows in order.

    What earlier builds advised is kept and followed, so that it differs from build to build; paths
    differ from home to home.
    """
    left_out = ("advised_spells", "advice_followed", "answers_followed")
    connection = duckdb.connect(str(newest(home).path), read_only=True)
    try:
        tables = connection.execute(
            "select schema_name, table_name from duckdb_tables() order by all"
        ).fetchall()
        return {
            f"{schema}.{table}": connection.execute(
                f"select columns(lambda c: not c.ends_with('s_path')) from {schema}.\"{table}\" "
                "order by all"
            ).fetchall()
            for schema, table in tables
            if table not in left_out
        }
    finally:
        connection.close()
