"""Refuse rows that reach beyond what is the asker's, before anything of a hand-in is kept."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import UTC, datetime

from pipeline.access.entered.pending import in_order, pending_files
from pipeline.access.reading import NotThereError, reading
from pipeline.access.scope.reach import Reach, Row, parents_first
from pipeline.asker import Asker
from pipeline.home import Home
from pipeline.intake.arriving import ArrivingFile
from pipeline.intake.contract import table_of
from pipeline.intake.read_rows import read_into
from pipeline.intake.read_sweeps import samples_into
from pipeline.intake.receive import HandedFile
from pipeline.intake.typed.entries import EntryError, Trouble
from pipeline.statements import connect

#: More troubles than this say nothing that these do not.
_MOST = 50
_LARGE = ("sweeps", "ride_log")


def refuse_beyond(home: Home, asker: Asker, files: Sequence[ArrivingFile]) -> None:
    """Let a hand-in pass where every row of it is within the asker's reach.

    Raises
    ------
    EntryError
        A row is not, or a file cannot be read as rows of a table. Nothing is kept then.
    HomeError
        The home cannot be read.
    """
    if asker.sees_all:
        return
    arriving = [numbered for file in files for numbered in _rows_of(file)]
    unread = [file for file in files if file.trouble or table_of(file.name) is None]
    found = [
        Trouble("", 1, "", file.came_as, "cannot be read as rows of a table; nothing was taken")
        for file in unread
    ]
    waiting = _all_pending(home)
    try:
        with reading(home, asker) as (_, connection):
            reach = Reach(connection, asker, [*waiting, *(row for _, row in arriving)])
    except NotThereError as error:
        raise EntryError([Trouble("", 1, "", "", f"cannot be taken yet: {error}")]) from error
    for _, row in parents_first(waiting):
        reach.sees(row)
    for place, row in parents_first([row for _, row in arriving]):
        line = arriving[place][0]
        beyond = reach.let_in(row)
        if beyond is not None:
            found.append(Trouble(row.table, line, beyond.column, beyond.value, beyond.reason))
            if len(found) >= _MOST:
                break
    if found:
        raise EntryError(found)


def _all_pending(home: Home) -> list[Row]:
    small = [file for file in pending_files(home) if _names_records(file)]
    return [Row(row.table, row.key, row.cells) for row in in_order(small)]


def _names_records(file: HandedFile) -> bool:
    table = table_of(file.name)
    return not file.trouble and table is not None and table.name not in _LARGE


def _rows_of(file: ArrivingFile) -> Iterator[tuple[int, Row]]:
    """Each row of a file with its line; of sweeps the sessions, as each is one row."""
    table = table_of(file.name)
    if table is None or file.trouble:
        return
    today = datetime.now(UTC).date()
    handed = HandedFile(0, 1, file.name, file.path, today, file.trouble, file.columns)
    connection = connect()
    try:
        if table.bulk:
            samples_into(connection, handed)
            found = connection.execute(
                "select 1, session_id, map {'session_id': session_id} from "
                "(select distinct session_id from numbered_samples) order by session_id"
            )
        else:
            read_into(connection, handed)
            found = connection.execute("select line, row_key, cells from read_rows order by line")
        for line, key, cells in found.fetchall():
            yield line, Row(table.name, key, dict(cells or {}))
    finally:
        connection.close()
