"""Look through files before they are handed in: what the reader would list of each, nothing kept.

Whether rows stand beside all others (their parents, a key handed in twice, an odometer that runs
backwards) is settled by the build alone.
"""

from __future__ import annotations

import tempfile
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

import duckdb
import pandas as pd

from pipeline.asker import Asker
from pipeline.home import Home
from pipeline.intake.arriving import ArrivingFile, arrival
from pipeline.intake.column_names import header_names, not_known, read_column_names
from pipeline.intake.contract import Table, table_of
from pipeline.intake.loggers.recording import Recording
from pipeline.intake.read_rows import read_into, set_aside_whole
from pipeline.intake.read_sweeps import samples_into
from pipeline.intake.receive import HandedFile
from pipeline.statements import connect, one_row, run

ISSUES_SHOWN = 200


@dataclass(frozen=True)
class FileCheck:
    """What the reader makes of one file.

    ``came_as`` is what the file is called, ``name`` what it would be received as. ``rows`` counts
    its rows (samples of a sweep), ``broken`` those that could not come in. ``issues`` holds the
    first ``ISSUES_SHOWN`` of ``issue_count`` lines: line, key, column, value, reason, and whether
    it sets the row aside (``row``), blanks the cell (``cell``) or concerns the ``file``.
    ``columns`` are read under other names, ``asked`` are columns of which nothing is known, and
    ``lacking`` columns of ours that the file has under no name; ``said`` is what else is to tell
    and ``trouble`` why it was not even opened.
    """

    came_as: str
    name: str
    table: str
    rows: int
    broken: int
    issues: pd.DataFrame
    issue_count: int
    columns: tuple[tuple[str, str], ...]
    asked: tuple[str, ...]
    lacking: tuple[str, ...]
    said: tuple[str, ...] = ()
    trouble: str = ""

    @property
    def is_readable(self) -> bool:
        """Whether rows of a table could be read: else the whole file is set aside."""
        return bool(self.table) and not self.issues["effect"].eq("file").any()


@dataclass(frozen=True)
class FilesCheck:
    """Each file, and a sentence on each sheet that would not be handed in.

    ``unnamed`` are sheets of whose rows no table is known.
    """

    files: tuple[FileCheck, ...]
    left_out: tuple[str, ...]
    unnamed: tuple[str, ...] = ()

    @property
    def ready(self) -> tuple[FileCheck, ...]:
        """The files that can be read at all."""
        return tuple(file for file in self.files if file.is_readable)


def check_files(
    home: Home,
    paths: Sequence[Path],
    *,
    asker: Asker,
    tables: Mapping[str, str] | None = None,
    recordings: Mapping[str, Recording] | None = None,
    now: datetime | None = None,
) -> FilesCheck:
    """Look through files as :func:`pipeline.intake.receive.receive` would take them.

    Parameters
    ----------
    home : Home
        Whose column names are remembered; it need not be started.
    paths : sequence of Path
        The files.
    asker : Asker
        Who would hand them in.
    tables : mapping, optional
        Table of each file (or sheet) whose own name does not tell it.
    recordings : mapping, optional
        What was said of each file that is a logger's recording.
    now : datetime, optional
        When they would be handed in: what the contract holds to be past must lie before it.
    """
    moment = now or datetime.now(UTC)
    known = read_column_names(home, asker)
    connection = connect()
    try:
        with tempfile.TemporaryDirectory(prefix="sheets-") as folder:
            arrived = arrival(paths, Path(folder), tables, names=known, recordings=recordings)
            checked = tuple(_check(connection, file, known, moment) for file in arrived.files)
        return FilesCheck(checked, arrived.left_out, arrived.unnamed)
    finally:
        connection.close()


def _check(
    connection: duckdb.DuckDBPyConnection,
    file: ArrivingFile,
    known: Mapping[str, Mapping[str, str]],
    moment: datetime,
) -> FileCheck:
    table = table_of(file.name)
    handed = HandedFile(0, 1, file.name, file.path, moment.date(), file.trouble, file.columns)
    bulk = table is not None and table.bulk and not file.trouble
    try:
        (samples_into if bulk else read_into)(connection, handed)
    except Exception as error:
        set_aside_whole(connection, error)
    rows, broken = one_row(run(connection, "intake/sql/read/counted_rows"))
    issues = run(connection, "intake/sql/read/listed_issues").df()
    asked, lacking = _columns(file, table, known)
    return FileCheck(
        file.came_as,
        file.name,
        table.name if table is not None else "",
        rows,
        broken,
        issues.head(ISSUES_SHOWN),
        len(issues),
        file.columns,
        asked,
        lacking,
        file.said,
        file.trouble,
    )


def _columns(
    file: ArrivingFile, table: Table | None, known: Mapping[str, Mapping[str, str]]
) -> tuple[tuple[str, ...], tuple[str, ...]]:
    if table is None or file.trouble:
        return (), ()
    header = header_names(file.path)
    there = {*header, *(ours for _, ours in file.columns)}
    lacking = tuple(name for name in table.names if name not in there)
    return tuple(not_known(known.get(table.name, {}), header, table)), lacking
