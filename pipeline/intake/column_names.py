"""Column names of a shop's own files: what each stands for, asked once and remembered by table.

Kept in the data home as ``column_names.json``: table, then their name, then ours; a blank one says
that the column is to be left out without asking again.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Mapping
from pathlib import Path

import pyarrow as pa
from pyarrow import parquet

from pipeline.asker import Asker, whoever_is_here
from pipeline.home import Home, HomeError, write_new
from pipeline.intake.contract import BECAUSE, TABLES, Table
from pipeline.intake.csv_text import BrokenFileError, read_header
from pipeline.intake.deeds import COLUMNS_NAMED, changing, note

LEFT_OUT = ""

Names = dict[str, dict[str, str]]


def read_column_names(home: Home, asker: Asker) -> Names:
    """What is remembered, by table; nothing where there is no file.

    Who does not see all remembers apart: what another shop calls its columns is its own affair.

    Raises
    ------
    HomeError
        The file is damaged.
    """
    path = names_path(home, asker)
    if not path.exists():
        return {}
    try:
        found = json.loads(path.read_text(encoding="utf-8"))
        return {
            table: {str(theirs): str(ours) for theirs, ours in names.items()}
            for table, names in found.items()
            if table in TABLES
        }
    except (OSError, ValueError, AttributeError) as error:
        raise HomeError(
            f"{path} is damaged ({error}); put it back from a copy, or remove it to be asked again."
        ) from error


def remember_column_names(
    home: Home, table: str, names: Mapping[str, str], *, asker: Asker | None = None
) -> None:
    """Remember what each of their names stands for in a table; :data:`LEFT_OUT` for none.

    Raises
    ------
    ValueError
        One of their names is the contract's own already, or one of ours is not.
    """
    own = TABLES[table].names
    for theirs, ours in names.items():
        if theirs in own or not theirs:
            raise ValueError(f"{theirs!r} is a column of {table} already")
        if ours != LEFT_OUT and ours not in own:
            raise ValueError(f"{table} has no column {ours!r}")
    who = asker or whoever_is_here()
    known = read_column_names(home, who)
    _write(home, known | {table: known.get(table, {}) | dict(names)}, table, who)


def forget_column_names(
    home: Home, table: str, names: Iterable[str], *, asker: Asker | None = None
) -> None:
    """Forget names of a table: a file that uses them is asked about again."""
    gone = set(names)
    who = asker or whoever_is_here()
    known = read_column_names(home, who)
    kept = {theirs: ours for theirs, ours in known.get(table, {}).items() if theirs not in gone}
    _write(home, known | {table: kept}, table, who)


def names_path(home: Home, asker: Asker) -> Path:
    """Where the names are kept that one asker goes by."""
    if asker.sees_all:
        return home.column_names
    shops, fleets = (",".join(sorted(of or ())) for of in (asker.shops, asker.fleets))
    scope = hashlib.sha256(f"{shops}/{fleets}".encode()).hexdigest()
    return home.root / "column_names" / f"{scope[:16]}.json"


def header_names(path: Path) -> list[str]:
    """Column names of a CSV or Parquet file as it has them; none where they cannot be read."""
    try:
        if path.suffix.lower() == ".parquet":
            return list(parquet.read_schema(path).names)
        return read_header(path).names
    except (BrokenFileError, OSError, pa.ArrowException):
        return []


def renamed(known: Mapping[str, str], header: Iterable[str], table: Table) -> dict[str, str]:
    """Which columns of a header are read under which of our names.

    A name of ours that the file has itself, or that an earlier column took, is not given again.
    """
    header = list(header)
    taken, found = set(header), {}
    for theirs in header:
        ours = known.get(theirs, LEFT_OUT)
        if ours in table.names and ours not in taken and theirs not in table.names:
            found[theirs] = ours
            taken.add(ours)
    return found


def not_known(known: Mapping[str, str], header: Iterable[str], table: Table) -> list[str]:
    """Columns of a header that are neither ours nor remembered, in the header's order."""
    passed_over = {*table.names, BECAUSE, "", *known}
    return [name for name in header if name not in passed_over]


def likely_name(theirs: str, table: Table) -> str | None:
    """The column of ours that differs from a name in capitals, blanks and dashes only."""
    plain = "_".join(theirs.lower().replace("-", " ").replace("_", " ").split())
    return plain if plain in table.names else None


def _write(home: Home, names: Names, table: str, asker: Asker) -> None:
    kept = {table: of for table, of in names.items() if of}
    text = json.dumps(kept, indent=1, ensure_ascii=False) + "\n"
    if not asker.sees_all:
        note(home, COLUMNS_NAMED, {"table": table}, asker)
        names_path(home, asker).parent.mkdir(exist_ok=True)
        write_new(names_path(home, asker), text)
        return
    with changing(home, "column_names", text.encode(), {"table": table}, asker):
        write_new(home.column_names, text)
