"""Spreadsheet workbooks: each sheet read as the contract wants a file of rows.

Dates, times and numbers come out as the contract writes them. Nothing is worked out: a formula
counts as the value that the program which saved it had worked out, text that looks like a formula
stays text, and a cell that shows an error is blank.
"""

from __future__ import annotations

import csv
from collections.abc import Iterable
from datetime import date, datetime, time, timedelta, tzinfo
from pathlib import Path

from python_calamine import (
    CalamineError,
    CalamineSheet,
    CalamineWorkbook,
    SheetTypeEnum,
    SheetVisibleEnum,
    load_workbook,
)

from pipeline.intake.bounded_workbook import refuse_boundless
from pipeline.intake.contract import YES_NO, Field, Table
from pipeline.intake.csv_text import BrokenFileError

SUFFIXES = (".xlsx", ".xlsm", ".xlsb", ".xls", ".ods")
SEEN_LINES = 50  # of a sheet, to tell whether it holds anything
#: A spreadsheet keeps a number to 15 significant digits: what lies beyond is noise of its binary.
_DIGITS = ".15g"


def is_workbook(name: str) -> bool:
    """Whether a file's name ends as a workbook's does."""
    return Path(name).suffix.lower() in SUFFIXES


def open_workbook(path: Path) -> CalamineWorkbook:
    """Open a workbook.

    Raises
    ------
    BrokenFileError
        It is none, is damaged, is kept behind a password, or is larger than can be read.
    """
    refuse_boundless(path)
    try:
        return load_workbook(path)
    except (CalamineError, OSError, ValueError) as error:
        raise BrokenFileError(f"the workbook cannot be read: {error}") from error


def sheets(workbook: CalamineWorkbook) -> list[tuple[str, bool]]:
    """Name of each sheet of cells, and whether it is shown (a hidden one is not handed in)."""
    return [
        (sheet.name, sheet.visible == SheetVisibleEnum.Visible)
        for sheet in workbook.sheets_metadata
        if sheet.typ == SheetTypeEnum.WorkSheet
    ]


def write_sheet(
    workbook: CalamineWorkbook, sheet: str, table: Table, path: Path, zone: tzinfo | None = None
) -> int:
    """Write one sheet as CSV for a table; return the number of its rows below the header.

    The first line that holds anything names the columns. An empty line between rows stays one, so
    that lines count as in the sheet.

    Parameters
    ----------
    workbook : CalamineWorkbook
        From :func:`open_workbook`.
    sheet : str
        Name of the sheet.
    table : Table
        What the rows are, which says what a value is to look like.
    path : Path
        Where to.
    zone : tzinfo, optional
        Whose clock times without an offset are of (a sheet knows no other); this machine's.

    Raises
    ------
    BrokenFileError
        The sheet is damaged.
    """
    try:
        cells = workbook.get_sheet_by_name(sheet)
        kept = _kept_columns(cells)
        return _write(cells, kept, table, path, zone)
    except CalamineError as error:
        raise BrokenFileError(f"the sheet cannot be read: {error}") from error


def cell_text(value: object, field: Field | None, zone: tzinfo | None = None) -> str:
    """One cell as the contract would write it; what it holds is never guessed at."""
    if value is None or isinstance(value, str):
        return "\n".join((value or "").splitlines())  # the reader takes no bare carriage return
    if isinstance(value, bool):
        words = YES_NO if field is not None and field.words == YES_NO else ("true", "false")
        return words[0] if value else words[1]
    if isinstance(value, (int, float)):
        return format(value, _DIGITS)
    if isinstance(value, datetime):
        return _moment_text(value, field, zone)
    if isinstance(value, (date, time)):
        return value.isoformat()
    return str(value) if isinstance(value, timedelta) else str(value).strip()


def _moment_text(value: datetime, field: Field | None, zone: tzinfo | None) -> str:
    kind = field.kind if field is not None else ""
    if kind == "moment":
        known = value.replace(tzinfo=zone) if zone is not None else value.astimezone()
        return known.isoformat()
    if value.time() == time():
        return value.date().isoformat()
    return value.isoformat()


def _kept_columns(cells: CalamineSheet) -> list[int]:
    """Places of the columns that hold anything: a sheet is often wider than what is in it."""
    kept: set[int] = set()
    for row in cells.iter_rows():
        kept |= {place for place, value in enumerate(row) if value not in ("", None)}
    return sorted(kept)


def _write(
    cells: CalamineSheet, kept: list[int], table: Table, path: Path, zone: tzinfo | None
) -> int:
    fields: list[Field | None] = []
    count = 0
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file, lineterminator="\n")
        for row in cells.iter_rows():
            values = [row[place] for place in kept]
            bare = _is_bare(values)
            if not fields:
                if bare:
                    continue
                names = [cell_text(value, None).strip() for value in values]
                fields = [_field(table, name) for name in names]
                writer.writerow(names)
            elif bare:
                file.write("\n")
            else:
                texts = zip(values, fields, strict=True)
                writer.writerow([cell_text(value, field, zone) for value, field in texts])
                count += 1
    return count


def _is_bare(values: Iterable[object]) -> bool:
    return all(value is None or (isinstance(value, str) and not value.strip()) for value in values)


def _field(table: Table, name: str) -> Field | None:
    return next((field for field in table.fields if field.name == name), None)
