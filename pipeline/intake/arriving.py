"""Files as they arrive: which table each holds, which of its columns are ours under other names.

A workbook brings one file for each sheet whose name begins with a table's name; a workbook of one
sheet may be named after the table itself. A logger's recording brings a sweep of the test that was
named for it. What is not a table's is said, never passed over.
"""

from __future__ import annotations

import os
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from pipeline.intake.column_names import Names, header_names, renamed
from pipeline.intake.contract import TABLES, Table, table_of
from pipeline.intake.csv_text import BrokenFileError
from pipeline.intake.loggers.readers import contract_file, judged_sweep_of
from pipeline.intake.loggers.recording import LogError, LogFile, LogSweep, Recording
from pipeline.intake.workbook import is_workbook, open_workbook, sheets, write_sheet

#: Endings of files of rows.
ROWS = (".csv", ".txt", ".parquet")


@dataclass(frozen=True)
class ArrivingFile:
    """One file to be received.

    ``name`` begins with its table's name where one is known, ``came_as`` is what it was called,
    ``path`` holds its rows, ``workbook`` is the file it was a sheet of, or made from. ``columns``
    are pairs of their name and ours. ``trouble`` says why it cannot be read at all, if so, and
    ``said`` what else is to be told of it.
    """

    name: str
    came_as: str
    path: Path
    workbook: Path | None = None
    columns: tuple[tuple[str, str], ...] = ()
    trouble: str = ""
    said: tuple[str, ...] = ()


@dataclass(frozen=True)
class Arrival:
    """The files of a hand-in in order, and a sentence on each sheet that is no part of it.

    ``unnamed`` are the sheets of whose rows no table is known, as :func:`sheet_name` calls them.
    """

    files: tuple[ArrivingFile, ...]
    left_out: tuple[str, ...]
    unnamed: tuple[str, ...] = ()


def arrival(
    paths: Sequence[Path],
    folder: Path,
    tables: Mapping[str, str] | None = None,
    *,
    names: Names,
    recordings: Mapping[str, Recording] | None = None,
) -> Arrival:
    """Look at files before they are received.

    Parameters
    ----------
    paths : sequence of Path
        Files, workbooks among them.
    folder : Path
        Where sheets are written as CSV; the caller's, to be removed afterwards.
    tables : mapping, optional
        Table of each file (or ``workbook: sheet``) whose own name does not tell it.
    names : Names
        What columns stand for.
    recordings : mapping, optional
        What was said of each file that is a logger's recording.

    Returns
    -------
    Arrival
        In order of name: later means later by name (units before units-2).
    """
    chosen = dict(tables or {})
    files: list[ArrivingFile] = []
    left_out: list[str] = []
    unnamed: list[str] = []
    for path in paths:
        if recordings and path.name in recordings and path.is_file():
            files.append(_recording(path, folder, recordings[path.name]))
        elif is_workbook(path.name) and path.is_file():
            found, said, no_table = _sheets_of(path, folder, chosen, names)
            files += found
            left_out += said
            unnamed += no_table
        else:
            files.append(_single(path, chosen, names))
    in_order = sorted(files, key=lambda file: (Path(file.name).stem, file.name, str(file.path)))
    return Arrival(tuple(in_order), tuple(left_out), tuple(unnamed))


def named_for(came_as: str, chosen: Mapping[str, str]) -> str:
    """The name under which a file is received: its table's name first, where one was chosen."""
    table = chosen.get(came_as)
    return came_as if table is None or table_of(came_as) is not None else f"{table}-{came_as}"


def _single(path: Path, chosen: Mapping[str, str], known: Names) -> ArrivingFile:
    came_as = os.fsencode(path.name).decode("utf-8", errors="replace")
    name = named_for(came_as, chosen)
    return ArrivingFile(
        name, came_as, path, columns=_columns(path, table_of(name), known), trouble=_trouble(path)
    )


def _sheets_of(
    path: Path, folder: Path, chosen: Mapping[str, str], known: Names
) -> tuple[list[ArrivingFile], list[str], list[str]]:
    """Each sheet of a workbook that is a table's, as a file; what is said of the others.

    Last, the sheets of which no table is known.
    """
    try:
        workbook = open_workbook(path)
        listed = sheets(workbook)
    except BrokenFileError as error:
        return [ArrivingFile(path.name, path.name, path, trouble=str(error))], [], []
    shown = [name for name, visible in listed if visible]
    left_out = [f"{path.name}: sheet “{n}” is hidden; left out" for n, seen in listed if not seen]
    files: list[ArrivingFile] = []
    unnamed = []
    for sheet in shown:
        table = _table_of_sheet(path, sheet, chosen, alone=len(shown) == 1)
        if table is None:
            left_out.append(f"{path.name}: sheet “{sheet}” begins with no table's name; left out")
            unnamed.append(sheet_name(path.name, sheet))
            continue
        target = _free(folder, ".csv")
        came_as = sheet_name(path.name, sheet)
        name = f"{came_as if table_of(came_as) is table else f'{table.name}-{came_as}'}.csv"
        try:
            write_sheet(workbook, sheet, table, target)
            columns = _columns(target, table, known)
            files.append(ArrivingFile(name, came_as, target, path, columns))
        except BrokenFileError as error:
            files.append(ArrivingFile(name, came_as, path, trouble=str(error)))
    if not files:
        reason = "no sheet's name begins with a table's name; expected one of " + ", ".join(TABLES)
        files.append(ArrivingFile(path.name, path.name, path, trouble=reason))
        left_out = [said for said in left_out if "hidden" in said]
    return files, left_out, unnamed


def _recording(path: Path, folder: Path, said: Recording) -> ArrivingFile:
    """The sweep that a recording holds, written as the contract has it."""
    try:
        sweep = judged_sweep_of(LogFile(path, path.name), said.choice)
    except LogError as error:
        return ArrivingFile(path.name, path.name, path, trouble=str(error))
    name, content = contract_file(sweep, said.session_id)
    target = _free(folder, Path(name).suffix)
    target.write_bytes(content)
    told = (*_channel_told(sweep, said.session_id), *sweep.facts, *sweep.troubles)
    return ArrivingFile(name, path.name, target, path, said=told)


def _channel_told(sweep: LogSweep, session_id: str) -> tuple[str, ...]:
    if sweep.channel is None:
        return ()
    return (f"In the row of test {session_id}, sweep_channel has to be {sweep.channel}.",)


def _free(folder: Path, ending: str) -> Path:
    return folder / f"{len(list(folder.iterdir())) + 1:04d}{ending}"


def is_readable_kind(name: str) -> bool:
    """Whether files that end so are read at all: rows as CSV or Parquet, or a workbook."""
    return Path(name).suffix.lower() in ROWS or is_workbook(name)


def sheet_name(workbook: str, sheet: str) -> str:
    """What a sheet is called among files: ``units of fleet.xlsx``."""
    return f"{sheet} of {workbook}"


def _table_of_sheet(
    path: Path, sheet: str, chosen: Mapping[str, str], *, alone: bool
) -> Table | None:
    named = chosen.get(sheet_name(path.name, sheet))
    if named is not None:
        return TABLES[named]
    return table_of(sheet) or (table_of(path.name) if alone else None)


def _columns(path: Path, table: Table | None, known: Names) -> tuple[tuple[str, str], ...]:
    """Which columns go by another name; none where the header cannot be read."""
    names = known.get(table.name) if table is not None else None
    if table is None or not names:
        return ()
    return tuple(renamed(names, header_names(path), table).items())


def _trouble(path: Path) -> str:
    if path.is_dir():
        return "a folder, where a file was expected; hand the folder in by itself"
    if not path.exists():
        return "no such file"
    if not path.is_file():
        return "not an ordinary file"
    return ""
