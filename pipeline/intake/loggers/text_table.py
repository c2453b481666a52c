"""A logger's export as text: a table of numbers with its columns in any order.

With or without a header, with commas, semicolons, tabs or blanks between, with points or commas
for decimals. What does not read as a number stays as it is, in its place: the intake marks it.
"""

from __future__ import annotations

import csv
import re
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd

from pipeline.intake.loggers.rate_shows import rate_shows
from pipeline.intake.loggers.recording import (
    SAMPLES,
    TIME,
    LogChannel,
    LogChoice,
    LogError,
    LogFile,
    LogLook,
    LogSweep,
    Troubles,
    chosen,
)

KIND = "table of text (CSV)"
MOST_LINES = 1_000_000
_NUMBER = re.compile(r"[+-]?(\d+([.,]\d*)?|[.,]\d+)([eE][+-]?\d+)?")
_MARKS = (";", "\t", ",")


@dataclass(frozen=True)
class SweepText:
    """A table of samples as text: column names, and rows of cells with points for decimals."""

    names: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


def read_sweep_text(content: bytes) -> SweepText:
    """Read a logger's export; columns without a header are called ``column 1`` and so on.

    Raises
    ------
    LogError
        Not text in UTF-8, too many lines, or fewer than two columns of numbers.
    """
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise LogError(f"not text in UTF-8 (byte {error.start + 1}); expected CSV") from None
    lines = [line for line in text.splitlines() if line.strip()]
    if not lines:
        raise LogError("the file is empty; expected a line for each sample")
    if len(lines) > MOST_LINES:
        raise LogError(
            f"the table has {len(lines):,} lines; expected at most {MOST_LINES:,}: cut it to the "
            "slow passes, or hand it in as the contract's own file"
        )
    rows = _cells(lines)
    header = None if _is_samples(rows[0]) else tuple(cell.strip() for cell in rows.pop(0))
    if not rows or len(rows[0]) < 2 or not _mostly_samples(rows[:50]):
        raise LogError(
            "most lines hold no two numbers; expected a time and a reading on each line, with a "
            "comma, semicolon or tab between"
        )
    names = header or tuple(f"column {n}" for n in range(1, len(rows[0]) + 1))
    return SweepText(names, tuple(rows))


def likely_columns(names: tuple[str, ...], remembered: Mapping[str, str]) -> dict[str, str]:
    """Our columns to theirs: by our own names, by what is remembered, else by place.

    The first column is taken for the time and the second for the signal where no name tells.
    """
    found = {ours: ours for ours in SAMPLES if ours in names}
    for theirs, ours in remembered.items():
        if theirs in names and ours in SAMPLES:
            found.setdefault(ours, theirs)
    left = [name for name in names if name not in found.values() and name != "session_id"]
    for ours in SAMPLES[:2]:
        if ours not in found and left:
            found[ours] = left.pop(0)
    return found


def look(file: LogFile, remembered: Mapping[str, str]) -> LogLook:
    """The columns of a table of text; which of them is the time is asked for."""
    table = read_sweep_text(file.content())
    count = len(table.rows)
    return LogLook(
        KIND,
        tuple(LogChannel(name, name, "", count) for name in table.names),
        frozenset({TIME}),
        likely_columns(table.names, remembered),
        (f"{count:,} lines of samples.",),
        own_names=True,
    )


def sweep(file: LogFile, choice: LogChoice) -> LogSweep:
    """The chosen columns as the text they are; what is no number is named and left in place."""
    table = read_sweep_text(file.content())
    chosen(table.names, choice.columns, ("t_s", "signal"))
    columns = {}
    for ours in SAMPLES:
        if ours in choice.columns:
            place = table.names.index(choice.columns[ours])
            columns[ours] = [row[place].strip() if place < len(row) else "" for row in table.rows]
    if choice.time_in_ms:
        columns["t_s"] = list(map(_in_seconds, columns["t_s"]))
    troubles = Troubles(file.name)
    numbers = {
        ours: _numbers(cells, choice.columns[ours], troubles) for ours, cells in columns.items()
    }
    t_s = numbers["t_s"]
    facts = rate_shows(t_s[np.isfinite(t_s)], None)
    return LogSweep(pd.DataFrame(columns), None, tuple(facts), troubles.told())


def _numbers(cells: list[str], name: str, troubles: Troubles) -> np.ndarray:
    """Cells as numbers; what is none is blank and named by its sample."""
    values = pd.to_numeric(pd.Series(cells, dtype=str), errors="coerce").to_numpy(dtype=float)
    for place in np.flatnonzero(np.isnan(values)):
        troubles.add(f"sample {place + 1:,}", name, cells[place], "a number")
    return values


def _cells(lines: list[str]) -> list[tuple[str, ...]]:
    """Split the lines; a comma is a decimal point where something else stands between cells."""
    mark = next((mark for mark in _MARKS if mark in lines[-1]), None)
    words = lines[-1].split()
    if mark is None or (mark == "," and len(words) > 1 and all(map(_NUMBER.fullmatch, words))):
        mark = None
        rows = [tuple(line.split()) for line in lines]
    else:
        rows = _split(lines, mark)
    if mark == ",":
        return rows
    return [tuple(_with_point(cell) for cell in row) for row in rows]


def _split(lines: list[str], mark: str) -> list[tuple[str, ...]]:
    try:
        return [tuple(row) for row in csv.reader(lines, delimiter=mark)]
    except csv.Error as error:
        raise LogError(f"a line cannot be read ({error}); expected short cells") from None


def _with_point(cell: str) -> str:
    cell = cell.strip()
    return cell.replace(",", ".") if _NUMBER.fullmatch(cell) else cell


def _mostly_samples(rows: list[tuple[str, ...]]) -> bool:
    return 2 * sum(map(_is_samples, rows)) >= len(rows)


def _is_samples(row: tuple[str, ...]) -> bool:
    return sum(bool(_NUMBER.fullmatch(cell.strip())) for cell in row) >= 2


def _in_seconds(cell: str) -> str:
    try:
        return f"{float(cell) / 1000:.9g}"
    except ValueError:
        return cell
