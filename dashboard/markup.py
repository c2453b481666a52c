"""HTML from records: whatever is handed in comes out as text.

Record text (identifiers, notes, names) may hold anything, so each function escapes what it is
given; only a :class:`Html` made here passes as it is. Plain tables and lists are used instead of
a canvas so that they can be read aloud, enlarged and folded to a phone's width.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable
from html import escape
from urllib.parse import urlencode

import pandas as pd

Cell = Callable[[dict], object]


# Identifiers may run to 64 characters; up to this many stay on one line.
SHORT = 20
#: Controls of ASCII save tab and line breaks, and the marks of direction (Unicode UAX 9, sec. 2).
_TURNS = "\u061c\u200e\u200f\u202a-\u202e\u2066-\u2069"
_UNSEEN = re.compile(f"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f{_TURNS}]")
_TURNING = re.compile(f"[{_TURNS}]")


class Html(str):
    """Text that is already markup."""

    __slots__ = ()


def esc(value: object) -> Html:
    """Any value as markup: escaped unless it is markup already; a blank is nothing.

    Marks that turn the direction of writing, and other unseen controls, are spelled out: a text
    must not look like another one.
    """
    if isinstance(value, Html):
        return value
    if value is None or (not isinstance(value, (list, tuple)) and pd.isna(value)):
        return Html("")
    return Html(escape(_UNSEEN.sub(_spelled, str(value)), quote=True))


def turns_spelled(text: str) -> str:
    """The text with marks that turn the direction of writing spelled out."""
    return _TURNING.sub(_spelled, text)


def _spelled(found: re.Match[str]) -> str:
    return f"[U+{ord(found[0]):04X}]"


def tag(name: str, *inner: object, **attributes: str | None) -> Html:
    """One element. ``class_`` names its classes; an attribute that is None is left out."""
    kept = {k.rstrip("_").replace("_", "-"): v for k, v in attributes.items() if v is not None}
    words = "".join(f' {k}="{escape(str(v), quote=True)}"' for k, v in kept.items())
    return Html(f"<{name}{words}>{joined(inner)}</{name}>")


def joined(parts: Iterable[object], between: str = "") -> Html:
    """Parts one after another, each escaped."""
    return Html(esc(between).join(esc(part) for part in parts))


def link(words: object, page: str, class_: str | None = None, **query: str | list[str]) -> Html:
    """A link to another page of the dashboard that opens in the same tab.

    It is a plain address, so it can be copied, bookmarked and opened in a new tab; the script
    `navigate.js` follows it without loading everything again.
    """
    address = f"{page or './'}{'?' + urlencode(query, doseq=True) if query else ''}"
    return tag("a", words, href=address, class_=class_, data_within="yes", target="_self")


def to_bike(unit_id: str, words: object, class_: str | None = None) -> Html:
    """A link to a bike's page."""
    return link(words, "bike", class_, unit=unit_id)


def to_session(session_id: str, words: object, class_: str | None = None) -> Html:
    """A link to a test's page."""
    return link(words, "session", class_, session=session_id)


def identifier(value: object) -> Html:
    """An identifier in a table: kept on one line unless it is long."""
    return tag("span", value, class_="wa-id" if len(str(value)) <= SHORT else None)


def bullets(sentences: Iterable[object], class_: str | None = None) -> Html:
    """Sentences as a list; nothing where there is none."""
    items = [tag("li", sentence) for sentence in sentences]
    return tag("ul", *items, class_=class_) if items else Html("")


def facts(pairs: Iterable[tuple[object, object]]) -> Html:
    """Names and values, such as a bike's particulars."""
    rows = [tag("div", tag("dt", name), tag("dd", value)) for name, value in pairs]
    return tag("dl", *rows, class_="wa-facts")


def fold(title: object, *inner: object, class_: str = "wa-fold") -> Html:
    """Something that opens on a press."""
    return tag("details", tag("summary", title), *inner, class_=class_)


def table(rows: pd.DataFrame, columns: dict[str, str | Cell], caption: str) -> Html:
    """A table; on a narrow screen each row folds into a block of named values.

    Parameters
    ----------
    rows : DataFrame
        One row a line.
    columns : dict
        Heading to a column's name, or to a function from row to cell (text, or Html).
    caption : str
        What the table holds, read out before it.
    """
    head = tag("tr", *(tag("th", heading, scope="col") for heading in columns))
    body = [_row(record, columns) for record in rows.to_dict("records")]
    whole = tag(
        "table", tag("caption", caption), tag("thead", head), tag("tbody", *body), class_="wa-table"
    )
    return tag("div", whole, class_="wa-wide", tabindex="0", role="region", aria_label=caption)


def folded_table(
    rows: pd.DataFrame, columns: dict[str, str | Cell], caption: str, *, shown: int, rest: str
) -> Html:
    """A table of the first rows, the others below in one that opens on a press.

    ``rest`` names those, such as ``earlier repairs``.
    """
    head, tail = rows.head(shown), rows.iloc[shown:]
    whole = table(head, columns, caption)
    if tail.empty:
        return whole
    title = f"{len(tail):,} {rest}"
    return joined([whole, fold(title, table(tail, columns, title))])


def _row(record: dict, columns: dict[str, str | Cell]) -> Html:
    cells = []
    for heading, cell in columns.items():
        value = cell(record) if callable(cell) else record[cell]
        cells.append(tag("td", tag("span", value, class_="wa-cell"), data_name=heading))
    return tag("tr", *cells)
