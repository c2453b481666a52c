"""Rows that were entered since the last build: on the disk, and not in the published records yet.

They are read cell by cell like any others. Whether they stand beside all other rows is settled by
the next build alone.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from pipeline.access.reading import NotThereError, reading
from pipeline.access.scope.reach import Reach, Row, parents_first
from pipeline.asker import Asker
from pipeline.home import Home
from pipeline.intake.contract import TABLES, table_of
from pipeline.intake.read_rows import read_into
from pipeline.intake.receive import HandedFile, handed_files, last_hand_in
from pipeline.lately import Lately
from pipeline.statements import connect
from pipeline.warehouse.publish import newest

#: Files larger than this were not typed: they wait for the build that reads them.
LARGEST_TYPED = 1_000_000


def pending_files(home: Home) -> list[HandedFile]:
    """The files of every hand-in that the published records do not hold, in order."""
    found = newest(home)
    return handed_files(home, after=found.hand_in if found else 0)


def last_entry_of(home: Home, *tables: str) -> int:
    """The last hand-in since the build that holds one of these tables; 0 for none.

    What a view reads of entries is the same for as long as this is.
    """
    found = (f.hand_in for f in pending_files(home) if _is_typed(f, tables))
    return max(found, default=0)


def pending_rows(home: Home, asker: Asker, *tables: str) -> dict[str, dict[str, dict[str, str]]]:
    """Typed rows that wait for the next build, by table and key; the later of a key stands.

    Parameters
    ----------
    home : Home
        Where from.
    asker : Asker
        Who asks.
    *tables : str
        Contract tables of rows (not of samples).

    Returns
    -------
    dict
        Table to key to cells, each cell as text; the parts of a longer key are joined by ``/``.
    """
    found: dict[str, dict[str, dict[str, str]]] = {name: {} for name in tables}
    for row in pending_in_order(home, asker, *tables):
        found[row.table][row.key] = row.cells
    return found


class PendingRow(NamedTuple):
    """One typed row: its table, its key, and its cells as text."""

    table: str
    key: str
    cells: dict[str, str]


#: By file; and by version, last hand-in and scope.
_READ: Lately[list[PendingRow]] = Lately(2_000, 64 * 2**20)
_OWN: Lately[list[PendingRow]] = Lately(50, 64 * 2**20)


def pending_in_order(home: Home, asker: Asker, *tables: str) -> list[PendingRow]:
    """The same rows one after another as they were handed in, each time that a key was typed."""
    if not asker.sees_all:
        return [row for row in _own_pending(home, asker) if row.table in tables]
    files = [file for file in pending_files(home) if _is_typed(file, tables)]
    return in_order(files) if files else []


def in_order(files: Sequence[HandedFile]) -> list[PendingRow]:
    """Rows of files in order that can be read, whoever handed them in.

    A file handed in never changes: what was read of it is kept, and read anew where it did.
    """
    return [row for file in files for row in _kept_rows(file)]


def _kept_rows(file: HandedFile) -> list[PendingRow]:
    try:
        known = file.path.stat()
    except OSError:
        return _rows_of(file)
    key = (file.path, file.name, file.columns, known.st_ino, known.st_mtime_ns, known.st_size)
    return _READ.of(key, lambda: _rows_of(file))


def _rows_of(file: HandedFile) -> list[PendingRow]:
    table = table_of(file.name)
    if table is None:
        return []
    connection = connect()
    try:
        read_into(connection, file)
        rows = connection.execute(
            "select row_key, cells from read_rows where not broken order by line"
        ).fetchall()
    finally:
        connection.close()
    return [PendingRow(table.name, key, cells) for key, cells in rows]


def within_reach(home: Home, asker: Asker, table: str, key: str) -> bool:
    """Whether a record, published or entered since, is the asker's."""
    if asker.sees_all:
        return True
    if any((row.table, row.key) == (table, key) for row in _own_pending(home, asker)):
        return True
    try:
        with reading(home, asker) as (_, connection):
            return Reach(connection, asker, [Row(table, key, {})]).owns(table, key)
    except NotThereError:
        return False


def _own_pending(home: Home, asker: Asker) -> list[PendingRow]:
    """All typed rows that are the asker's, by all that was handed in before each.

    What is handed in never changes, so it is found once for a version and a last hand-in.
    """
    found = newest(home)
    if found is None:
        return []
    key = (home.root, found.path, found.built_at, last_hand_in(home), asker.scope)
    return _OWN.of(key, lambda: _within_reach(home, asker))


def _within_reach(home: Home, asker: Asker) -> list[PendingRow]:
    rows = in_order([file for file in pending_files(home) if _is_typed(file, tuple(TABLES))])
    if not rows:
        return []
    try:
        with reading(home, asker) as (_, connection):
            reach = Reach(connection, asker, [Row(*row) for row in rows])
    except NotThereError:
        return []
    found = {place for place, row in parents_first(rows) if reach.sees(Row(*row))}
    return [row for place, row in enumerate(rows) if place in found]


def _is_typed(file: HandedFile, tables: tuple[str, ...]) -> bool:
    table = table_of(file.name)
    if file.trouble or table is None or table.name not in tables or TABLES[table.name].bulk:
        return False
    return file.path.exists() and file.path.stat().st_size <= LARGEST_TYPED
