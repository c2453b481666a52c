"""CSV text made even before it is read: one kind of line end, and quotes that pair up.

The reader gives a whole file up where line ends are mixed, where a carriage return stands alone or
where one quote is left open. Here such a file gets a copy in which line ends are line feeds, and in
which what cannot be read is spelt in a byte that no text in UTF-8 has: the reader then rejects that
record alone, under its line, and every other one is read. Files are gone through a stretch at a
time, so that their size costs no memory.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from pipeline.intake.csv_text import BrokenFileError

STRETCH_BYTES = 1 << 23
LONGEST_LINE_BYTES = 1 << 24
_FEED, _RETURN, _QUOTE = b'\n\r"'
#: Bytes that are part of no text in UTF-8.
_NO_TEXT = tuple(range(0xF8, 0x100))


@dataclass(frozen=True)
class EvenText:
    """A CSV file to be read: its path, and what stands for a lone return and an unpaired quote."""

    path: Path
    lone_return: bytes = b""
    lone_quote: bytes = b""

    def as_it_came(self, record: bytes) -> bytes:
        """A record's bytes with what they came with."""
        if not self.lone_return:
            return record
        return record.replace(self.lone_return, b"\r").replace(self.lone_quote, b'"')


@dataclass
class _Seen:
    """What one pass over the bytes found; quotes are taken as they stand.

    A value in quotes may hold line breaks, so that lines with an odd number of quotes come in
    pairs. Where one is left over, the text ends within quotes: then the last of them is taken for
    the one at fault, as in a file that was cut off.
    """

    lone_returns: int = 0
    returned_lines: int = 0
    fed_lines: int = 0
    odd_lines: int = 0
    odd_line: int = 0

    @property
    def is_even(self) -> bool:
        """Whether the reader takes it as it is."""
        mixed = self.returned_lines and self.returned_lines != self.fed_lines
        return not (self.lone_returns or mixed or self.odd_lines % 2)


def even_text(path: Path, folder: Path) -> EvenText:
    """The file itself, or a copy of it in ``folder`` that the reader takes line by line.

    Raises
    ------
    BrokenFileError
        A line is too long to be one, or no byte is left to mark what cannot be read.
    """
    seen = _looked_through(path)
    if seen.is_even:
        return EvenText(path)
    free = _bytes_free(path)
    if len(free) < 2:
        raise BrokenFileError("this is not text; expected CSV in UTF-8 with a header row")
    marks = bytes(free[:1]), bytes(free[1:2])
    copy = folder / f"even-{path.stem}.csv"
    _write(path, copy, seen.odd_line if seen.odd_lines % 2 else 0, marks)
    return EvenText(copy, *marks)


def _bytes_free(path: Path) -> list[int]:
    """Bytes that are part of no text, and do not stand in the file either."""
    there = np.zeros(256, bool)
    for _, text, _ in _stretches(path):
        there[np.unique(text)] = True
    return [byte for byte in _NO_TEXT if not there[byte]]


def _looked_through(path: Path) -> _Seen:
    seen, inside = _Seen(), False
    line, began, quotes = 1, 0, 0  # of the line that a stretch ends in
    for offset, text, following in _stretches(path):
        feeds = np.flatnonzero(text == _FEED)
        marks = np.flatnonzero(text == _QUOTE)
        _refuse_long_lines(np.concatenate([[began - offset], feeds + 1, [len(text)]]), line)
        upto = np.searchsorted(marks, feeds)
        counts = np.diff(upto, prepend=0)
        if len(counts):
            counts[0] += quotes
            odd = np.flatnonzero(counts % 2)
            seen.odd_lines += len(odd)
            seen.odd_line = line + int(odd[-1]) if len(odd) else seen.odd_line
            began, quotes = offset + int(feeds[-1]) + 1, len(marks) - int(upto[-1])
        else:
            quotes += len(marks)
        outside = (upto + inside) % 2 == 0
        seen.fed_lines += int(outside.sum())
        returns = np.flatnonzero(text == _RETURN)
        followed = np.append(text, following)[returns + 1] == _FEED
        free = (np.searchsorted(marks, returns) + inside) % 2 == 0
        seen.lone_returns += int((free & ~followed).sum())
        seen.returned_lines += int((free & followed).sum())
        line += len(feeds)
        inside = bool((len(marks) + inside) % 2)
    if quotes % 2:
        seen.odd_lines, seen.odd_line = seen.odd_lines + 1, line
    return seen


def _refuse_long_lines(starts: np.ndarray, line: int) -> None:
    lengths = np.diff(starts)
    if len(lengths) and lengths.max() > LONGEST_LINE_BYTES:
        number = line + int(lengths.argmax())
        raise BrokenFileError(
            f"line {number} is longer than {LONGEST_LINE_BYTES:,} bytes; expected a line feed at "
            "each record's end"
        )


def _write(path: Path, copy: Path, odd_line: int, marks: tuple[bytes, bytes]) -> None:
    """Line feeds for line ends; ``marks`` for lone returns, and for the quotes of the odd line."""
    inside, line = False, 1
    lone_return, lone_quote = (mark[0] for mark in marks)
    with copy.open("wb") as file:
        for _, stretch, following in _stretches(path):
            text = stretch.copy()
            if odd_line:
                lines = line + np.cumsum(text == _FEED) - (text == _FEED)
                text[(lines == odd_line) & (text == _QUOTE)] = lone_quote
                line += int((text == _FEED).sum())
            quotes = np.flatnonzero(text == _QUOTE)
            returns = np.flatnonzero(text == _RETURN)
            free = returns[(np.searchsorted(quotes, returns) + inside) % 2 == 0]
            ends = np.append(text, following)[free + 1] == _FEED
            text[free[~ends]] = lone_return
            file.write(np.delete(text, free[ends]).tobytes())
            inside = bool((len(quotes) + inside) % 2)


def _stretches(path: Path) -> Iterator[tuple[int, np.ndarray, np.ndarray]]:
    """Offset and bytes of each stretch, and the byte that follows it, where one does."""
    offset = 0
    with path.open("rb") as file:
        text = file.read(STRETCH_BYTES)
        while text:
            following = file.read(STRETCH_BYTES)
            byte = np.frombuffer(following[:1] or b"\x00", np.uint8)
            yield offset, np.frombuffer(text, np.uint8), byte
            offset += len(text)
            text = following
