"""Put markup on the page, or several pieces of it as one.

Each element that Streamlit draws costs the browser about as much as a table of text does, whatever
it holds: a page of sentences is up sooner as one element.
"""

from __future__ import annotations

import time
from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar

import streamlit as st

from dashboard.markup import Html, tag

_DRAWN_WITHIN_S = 0.35
_LOADED = "page_loaded"
_PIECES: ContextVar[list[Html] | None] = ContextVar("pieces", default=None)


def put(markup: Html | str) -> None:
    """Put a piece on the page; within :func:`together` it waits for the others."""
    pieces = _PIECES.get()
    if pieces is None:
        st.html(markup)
    else:
        pieces.append(Html(markup))


@contextmanager
def together() -> Iterator[None]:
    """Put all pieces of the block on the page as one, below one another as they would be alone.

    Only :func:`put` and what calls it may stand in the block: a field or button would come first.
    """
    pieces: list[Html] = []
    token = _PIECES.set(pieces)
    try:
        yield
    finally:
        _PIECES.reset(token)
    if pieces:
        put(tag("div", *(tag("div", piece) for piece in pieces), class_="wa-together"))


def let_it_show() -> None:
    """Let the browser draw what was put so far before more follows, on a page loaded anew.

    A page that is loaded anew takes this long to draw its first element. Fields, buttons and charts
    are programs that the browser loads first, and all that comes in one go with them is drawn with
    them: words and a picture would wait for what is not needed to read them.
    """
    if _LOADED not in st.session_state:
        loaded()
        time.sleep(_DRAWN_WITHIN_S)


def loaded() -> None:
    """From here on the browser has what it draws pages with."""
    st.session_state[_LOADED] = True
