"""A sweep dropped in or pasted at the bench, turned into the contract's rows.

A logger's export is a table of numbers: with or without a header, with commas, semicolons, tabs or
blanks between, with points or commas for decimals. What does not read as a number stays as it is,
in its place: the intake marks it.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Mapping
from dataclasses import dataclass

SAMPLES = ("t_s", "signal", "signal_b", "travel_pct")
_NUMBER = re.compile(r"[+-]?(\d+([.,]\d*)?|[.,]\d+)([eE][+-]?\d+)?")
_MARKS = (";", "\t", ",")


class SweepTextError(ValueError):
    """The text is no table of samples; the message says what was expected."""


@dataclass(frozen=True)
class SweepText:
    """A table of samples as text: column names, and rows of cells with points for decimals."""

    names: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


def read_sweep_text(content: bytes) -> SweepText:
    """Read a logger's export; columns without a header are called ``column 1`` and so on.

    Raises
    ------
    SweepTextError
        Not text in UTF-8, or fewer than two columns of numbers.
    """
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise SweepTextError(f"not text in UTF-8 (byte {error.start + 1}); expected CSV") from None
    lines = [line for line in text.splitlines() if line.strip()]
    if not lines:
        raise SweepTextError("the file is empty; expected a line for each sample")
    rows = _cells(lines)
    header = None if _is_samples(rows[0]) else tuple(cell.strip() for cell in rows.pop(0))
    if not rows or len(rows[0]) < 2 or not _mostly_samples(rows[:50]):
        raise SweepTextError(
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


def sweep_csv(
    sweep: SweepText, session_id: str, columns: Mapping[str, str], *, time_in_ms: bool = False
) -> bytes:
    """The contract's file of one sweep.

    Parameters
    ----------
    sweep : SweepText
        The samples.
    session_id : str
        The bench test they belong to.
    columns : mapping
        Our columns to theirs; ``t_s`` and ``signal`` at least.
    time_in_ms : bool
        Whether the times are in milliseconds.

    Raises
    ------
    SweepTextError
        A column is named that the table does not have.
    """
    missing = [name for name in columns.values() if name not in sweep.names]
    if missing or not {"t_s", "signal"} <= set(columns):
        raise SweepTextError(f"no column {', '.join(missing) or 'for the time or the signal'}")
    ours = [name for name in SAMPLES if name in columns]
    places = [sweep.names.index(columns[name]) for name in ours]
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(["session_id", *ours])
    for row in sweep.rows:
        cells = [row[place].strip() if place < len(row) else "" for place in places]
        if time_in_ms:
            cells[0] = _in_seconds(cells[0])
        writer.writerow([session_id, *cells])
    return out.getvalue().encode()


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
        raise SweepTextError(f"a line cannot be read ({error}); expected short cells") from None


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
