"""What the CSV reader does not tell: the header's names, the delimiter, and each record's line.

Records follow RFC 4180: a record ends at the first line break outside quotes, that is, where
the number of quotes so far is even.
"""

from __future__ import annotations

import csv
from dataclasses import dataclass
from pathlib import Path

import numpy as np

LONGEST_HEADER = 1_000_000
_STRETCH_BYTES = 1 << 23


#: How files of other kinds begin.
_CONTENT = {
    b"PK\x03\x04": "a packed file such as a workbook (.xlsx, .ods)",
    b"\xd0\xcf\x11\xe0": "an old or encrypted workbook (.xls)",
    b"PAR1": "Parquet",
    b"\x1f\x8b": "a packed file (.gz)",
    b"%PDF-": "a PDF",
    b"\x89PNG": "a picture",
    b"\xff\xd8\xff": "a picture",
    b"SQLite format 3": "a database",
    b"\x7fELF": "a program",
    b"MZ\x90\x00": "a program",
}


class BrokenFileError(Exception):
    """A file cannot be taken in at all; the message is the reason to list."""


@dataclass(frozen=True)
class Header:
    """Column names as written and the delimiter between them."""

    names: list[str]
    delimiter: str


def read_header(path: Path) -> Header:
    """Read the first line; refuse what is empty, not UTF-8 text, or names a column twice."""
    with path.open("rb") as file:
        first = file.readline(LONGEST_HEADER)
    if not first:
        raise BrokenFileError("the file is empty (zero bytes)")
    if len(first) == LONGEST_HEADER:
        raise BrokenFileError(
            f"its first line is longer than {LONGEST_HEADER:,} bytes; expected a header row"
        )
    refuse_other_content(first, "CSV in UTF-8 with a header row")
    if first.startswith((b"\xff\xfe", b"\xfe\xff")):
        raise BrokenFileError("the text is UTF-16; expected UTF-8")
    if b"\x00" in first:
        raise BrokenFileError("this is not text; expected CSV in UTF-8 with a header row")
    try:
        line = first.decode("utf-8-sig").strip("\r\n")
        if "\r" in line:
            raise BrokenFileError(
                "its lines end in a carriage return alone; expected a line feed at each line's end"
            )
    except UnicodeDecodeError:
        raise BrokenFileError("the header row is not UTF-8 text; expected CSV in UTF-8") from None
    if line.count('"') % 2:
        raise BrokenFileError(
            "the quotes in the header row do not pair up; expected each column's name on one line"
        )
    delimiter = ";" if line.count(";") > line.count(",") else ","
    try:
        names = [name.strip() for name in next(csv.reader([line], delimiter=delimiter), [])]
    except csv.Error as error:
        raise BrokenFileError(f"the header row cannot be read: {error}") from None
    doubled = sorted({name for name in names if name and names.count(name) > 1})
    if doubled:
        raise BrokenFileError(f"the header row names {', '.join(doubled)} twice")
    return Header(names, delimiter)


def refuse_other_content(first: bytes, expected: str) -> None:
    """Raise BrokenFileError where a file's first bytes are those of another kind of file."""
    for begins, kind in _CONTENT.items():
        if first.startswith(begins):
            raise BrokenFileError(
                f"by its content this is {kind}, whatever its name says; expected {expected}"
            )


def record_starts(path: Path) -> np.ndarray:
    """Byte offset of each record behind the header that is not an empty line, shape (n,)."""
    text = np.fromfile(path, dtype=np.uint8)
    breaks = np.flatnonzero(text == ord("\n"))
    quotes = np.flatnonzero(text == ord('"'))
    outside = np.searchsorted(quotes, breaks) % 2 == 0
    starts = np.concatenate([[0], breaks[outside] + 1])
    ends = np.concatenate([breaks[outside], [len(text)]])
    bare = (ends - starts == 0) | (
        (ends - starts == 1) & (text[np.minimum(starts, len(text) - 1)] == ord("\r"))
    )
    return starts[~bare][1:]


def record_count(path: Path) -> int:
    """How many :func:`record_starts` finds, gone through a stretch at a time."""
    count, inside, ended, last = 0, False, -1, b""
    offset = 0
    with path.open("rb") as file:
        while stretch := file.read(_STRETCH_BYTES):
            text = np.frombuffer(stretch, np.uint8)
            breaks = np.flatnonzero(text == ord("\n"))
            quotes = np.flatnonzero(text == ord('"'))
            ends = breaks[(np.searchsorted(quotes, breaks) + inside) % 2 == 0]
            before = np.concatenate([np.frombuffer(last or b"\n", np.uint8), text])[ends]
            lengths = np.diff(ends + offset, prepend=ended) - 1
            count += int(((lengths > 1) | ((lengths == 1) & (before != ord("\r")))).sum())
            ended = int(ends[-1]) + offset if len(ends) else ended
            inside = bool((len(quotes) + inside) % 2)
            offset, last = offset + len(text), stretch[-1:]
    rest = offset - ended - 1
    return max(0, count + (rest > 1 or (rest == 1 and last != b"\r")) - 1)


def line_of(path: Path, offsets: np.ndarray) -> np.ndarray:
    """Line number, from 1, of each byte offset, shape as given."""
    breaks = np.flatnonzero(np.fromfile(path, dtype=np.uint8) == ord("\n"))
    return np.searchsorted(breaks, offsets) + 1
