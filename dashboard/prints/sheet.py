"""What a printed sheet is made of, whichever way it is printed: words, tables, pictures, blanks."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import altair as alt


@dataclass(frozen=True)
class Rows:
    """A table: a heading for each column, then rows of as many cells."""

    headings: tuple[str, ...]
    cells: tuple[tuple[str, ...], ...]


@dataclass(frozen=True)
class Picture:
    """A chart with its reading in a sentence; both are made only when the sheet is printed."""

    draw: Callable[[], alt.LayerChart]
    reading: Callable[[], str]


@dataclass(frozen=True)
class Part:
    """One part of a sheet, its pieces in the order in which they are printed.

    ``boxed`` sets it off from the rest; ``numbered`` counts its ``points``.
    """

    heading: str
    facts: tuple[tuple[str, str], ...] = ()
    lead: str = ""
    points: tuple[str, ...] = ()
    rows: Rows | None = None
    picture: Picture | None = None
    blanks: tuple[str, ...] = ()
    after: str = ""
    boxed: bool = False
    numbered: bool = False


@dataclass(frozen=True)
class Sheet:
    """A whole sheet; ``notices`` stand at its top, ``foot`` on each page."""

    title: str
    parts: tuple[Part, ...]
    notices: tuple[str, ...] = ()
    foot: str = ""
