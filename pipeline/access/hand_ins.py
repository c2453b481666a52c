"""What was handed in, and what became of it once a build had taken it up."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

import duckdb
import pandas as pd

from pipeline.access.reading import NotThereError, reading
from pipeline.access.scope.allowed import view
from pipeline.asker import Asker
from pipeline.home import Home
from pipeline.intake.hand_in_cards import card_of
from pipeline.intake.receive import handed_files, handed_in_at, last_hand_in, left_out
from pipeline.statements import one_row, run


@dataclass(frozen=True)
class HandIn:
    """One hand-in: its number, when it came and the names of its files."""

    number: int
    at: datetime | None
    files: tuple[str, ...]


@dataclass(frozen=True)
class BecameOf:
    """What became of one hand-in.

    ``tables`` has one row a table (``table_name``, ``handed_in``, ``accepted``, ``new_rows``,
    ``replaced``, ``unchanged``, ``set_aside``, ``waiting``), ``files`` one row a file that was
    set aside whole, with the reason; ``notices`` are sentences on columns and sheets left out;
    ``settled`` counts rows set aside that a later row settles already.
    """

    tables: pd.DataFrame
    files: pd.DataFrame
    notices: list[str]
    settled: int


@view
def latest_hand_ins(home: Home, asker: Asker, count: int = 10) -> list[HandIn]:
    """The latest hand-ins that the asker may know of, newest first: their own, or all."""
    last = last_hand_in(home)
    names: dict[int, list[str]] = {}
    for file in handed_files(home, after=max(0, last - count)):
        names.setdefault(file.hand_in, []).append(file.name)
    return [
        HandIn(number, handed_in_at(home, number), tuple(names[number]))
        for number in sorted(names, reverse=True)
        if _is_theirs(home, asker, number)
    ]


@view
def became_of(home: Home, asker: Asker, number: int) -> BecameOf | None:
    """What became of a hand-in; None while the published records do not hold it."""
    if not _is_theirs(home, asker, number):
        return None
    try:
        with reading(home, asker) as (manifest, connection):
            if manifest.hand_in < number:
                return None
            return account(connection, home, number)
    except NotThereError:
        return None


def _is_theirs(home: Home, asker: Asker, number: int) -> bool:
    """Whether a hand-in is the asker's to know of; names alone tell people apart."""
    if asker.sees_all:
        return True
    folder = home.handed_in / f"{number:06d}"
    if not folder.exists():
        return False
    by = card_of(folder).get("handed_in_by", {})
    return by == {"name": asker.name, "role": asker.role}


def account(connection: duckdb.DuckDBPyConnection, home: Home, number: int) -> BecameOf:
    """The same, from a published warehouse that is open already."""
    parameters = {"hand_in": number}
    columns = run(connection, "intake/sql/report/notices", parameters).fetchall()
    return BecameOf(
        run(connection, "intake/sql/report/tables", parameters).df(),
        run(connection, "intake/sql/report/files", parameters).df(),
        [*(row[0] for row in columns), *left_out(home, number)],
        one_row(run(connection, "intake/sql/report/settled", parameters))[0],
    )
