"""Entries from the screen: rows of the contract's tables, saved together as one hand-in.

What is typed goes the way of every file: it is read by the same reader, cell by cell, and what
cannot stand is named before anything is saved. A save needs no builder: it is on the disk when
:func:`save_entry` returns, and the next build takes it up.
"""

from __future__ import annotations

import csv
import tempfile
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path

from pipeline.asker import Asker
from pipeline.home import Home
from pipeline.intake.contract import TABLES, table_of
from pipeline.intake.hand_in_cards import ANSWERED, HANDED_IN, RETRACTED
from pipeline.intake.read_rows import read_into
from pipeline.intake.read_sweeps import samples_into
from pipeline.intake.receive import HandedFile, receive
from pipeline.statements import connect

Rows = Mapping[str, Sequence[Mapping[str, object]]]


@dataclass(frozen=True)
class Trouble:
    """One cell, row or file of an entry that cannot stand; ``line`` counts rows from 1."""

    table: str
    line: int
    column: str
    value: str
    reason: str

    def __str__(self) -> str:
        """Plain words for the form."""
        column = f"{self.column}: " if self.column else ""
        value = f"“{self.value}”, " if self.value else ""
        return f"{column}{value}{self.reason}"


class EntryError(ValueError):
    """An entry cannot be saved as it stands; ``troubles`` names each cell. Nothing was saved."""

    def __init__(self, troubles: Sequence[Trouble]) -> None:
        super().__init__("; ".join(map(str, troubles)))
        self.troubles = tuple(troubles)


def save_entry(
    home: Home,
    rows: Rows,
    *,
    files: Mapping[str, bytes] | None = None,
    made_from: Mapping[str, bytes] | None = None,
    now: datetime | None = None,
    asker: Asker | None = None,
    deed: str | None = None,
) -> int:
    """Save rows, and files as they are, as one hand-in; return its number.

    Parameters
    ----------
    home : Home
        Where to; prepared.
    rows : mapping
        Contract table to rows, each a mapping from column to value; None and "" are blank.
    files : mapping, optional
        File name (beginning with a table's name) to its bytes, such as a sweep.
    made_from : mapping, optional
        File name to bytes of what those were made from, such as a logger's recording: kept beside
        them as it came.
    now : datetime, optional
        When it is handed in; the present moment.
    asker : Asker, optional
        Who saves it; whoever is at this machine.
    deed : str, optional
        What it amounts to, where its tables do not tell (a correction).

    Raises
    ------
    EntryError
        A cell, even an optional one, is not what the contract expects.
    HomeError
        The home cannot be written.
    """
    moment = now or datetime.now(UTC)
    refuse(_not_text(rows))
    with _written(rows, files or {}) as paths, _written({}, made_from or {}) as beside:
        refuse(_troubles(paths, moment))
        return _received(home, paths, beside, moment, rows, asker, deed)


def _received(
    home: Home,
    paths: list[Path],
    beside: list[Path],
    moment: datetime,
    rows: Rows,
    asker: Asker | None,
    deed: str | None,
) -> int:
    """Hand the entry in; what is refused counts rows from 1, where files count their header."""
    try:
        # written by us, under the contract's own names
        return receive(
            home,
            paths,
            moment,
            names={},
            asker=asker,
            deed=deed or _deed_of(rows),
            said=_said_of(rows),
            beside=beside,
        )
    except EntryError as error:
        troubles = [replace(trouble, line=max(trouble.line - 1, 1)) for trouble in error.troubles]
        raise EntryError(troubles) from error


def _deed_of(rows: Rows) -> str:
    """What rows of these tables amount to: an answer, a withdrawal, or a plain hand-in."""
    tables = {table for table, records in rows.items() if records}
    if "advice_answers" in tables:
        return ANSWERED
    return RETRACTED if tables == {"retract"} else HANDED_IN


def _said_of(rows: Rows) -> dict[str, object]:
    """How many rows of each table, and how many answers of each kind."""
    said: dict[str, object] = {"rows": {table: len(of) for table, of in rows.items() if of}}
    answers = Counter(str(row.get("answer")) for row in rows.get("advice_answers", ()))
    return said | ({"answers": dict(answers)} if answers else {})


def refuse(troubles: Iterable[Trouble]) -> None:
    """Refuse an entry for what no reader of single rows can see; nothing where there is nothing.

    Raises
    ------
    EntryError
        There is a trouble.
    """
    found = list(troubles)
    if found:
        raise EntryError(found)


def entry_troubles(rows: Rows, *, now: datetime | None = None) -> list[Trouble]:
    """What the contract has against these rows; nothing is saved."""
    halved = list(_not_text(rows))
    if halved:
        return halved
    with _written(rows, {}) as paths:
        return list(_troubles(paths, now or datetime.now(UTC)))


def _not_text(rows: Rows) -> Iterator[Trouble]:
    """Each cell that cannot be written, since it holds half of a character (a lone surrogate)."""
    for table, records in rows.items():
        for line, record in enumerate(records, start=1):
            for column, value in record.items():
                shown = str(value).encode(errors="backslashreplace").decode()
                if isinstance(value, str) and shown != value:
                    reason = "holds half of a character; expected text in UTF-8"
                    yield Trouble(table, line, column, shown, reason)


@contextmanager
def _written(rows: Rows, files: Mapping[str, bytes]) -> Iterator[list[Path]]:
    """The entry as files of a folder that is gone afterwards."""
    with tempfile.TemporaryDirectory(prefix="entry-") as name:
        folder = Path(name)
        for table, records in rows.items():
            if records:
                _write_rows(folder / f"{table}.csv", table, records)
        for file_name, content in files.items():
            (folder / Path(file_name).name).write_bytes(content)
        yield sorted(folder.iterdir())


def _write_rows(path: Path, table: str, records: Iterable[Mapping[str, object]]) -> None:
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, TABLES[table].names, lineterminator="\n")
        writer.writeheader()
        for record in records:
            writer.writerow({name: _one_break(value) for name, value in record.items()})


def _one_break(value: object) -> object:
    """A text with one kind of line break: the reader takes no bare carriage return."""
    return "\n".join(value.splitlines()) if isinstance(value, str) else value


def _troubles(paths: Iterable[Path], moment: datetime) -> Iterator[Trouble]:
    """Read each file as the intake will; whatever it would list is a trouble, save its notices."""
    connection = connect()
    try:
        for number, path in enumerate(paths, start=1):
            file = HandedFile(0, number, path.name, path, moment.date())
            table = table_of(path.name)
            bulk = table is not None and table.bulk
            (samples_into if bulk else read_into)(connection, file)
            listed = connection.execute(
                "select line - 1, column_name, value, reason from read_issues "
                "where effect <> 'notice' order by line, column_name"
            ).fetchall()
            for line, column, value, reason in listed:
                yield Trouble(table.name if table else "", line, column or "", value or "", reason)
    finally:
        connection.close()
