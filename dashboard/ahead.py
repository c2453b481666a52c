"""Read what a page will show while the browser still loads the frame that shows it.

A browser asks for a page's address first, and some time later, once the frame stands, opens the
connection by which the page is drawn. The address says already which view that will be.
"""

from __future__ import annotations

import logging
import threading
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from urllib.parse import parse_qs

from starlette.types import ASGIApp, Receive, Scope, Send

from dashboard import records
from dashboard.sieve import Sieve, asked_of
from pipeline.access.scope.allowed import NotAllowedError
from pipeline.access.views import NotThereError
from pipeline.asker import Asker
from pipeline.home import DEMO, HomeError

_LOG = logging.getLogger("dashboard")
#: What waits to be read at most: a page asked for is read in any case, if a little later.
MOST_WAITING = 4
#: Files of the frame are asked for first, and reading meanwhile would hold them up: it begins once
#: none was asked for this long, or so long after the page in any case.
NO_FILE_ASKED_FOR_S = 0.15
FRAME_ASKED_FOR_WITHIN_S = 0.8
_FILES = "/static/"

Query = dict[str, list[str]]


class Ahead:
    """The middleware: lets every request through, and reads ahead for those of pages.

    Parameters
    ----------
    app : ASGI application
        What answers.
    who : callable
        Who asks, by the request's scope; None where that is not known, and nothing is read.
    """

    def __init__(self, app: ASGIApp, who: Callable[[Scope], Asker | None]) -> None:
        self._app, self._who = app, who
        self._readers = ThreadPoolExecutor(1, thread_name_prefix="ahead")
        self._places = threading.BoundedSemaphore(MOST_WAITING)
        self._asked_at = 0.0

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass a request on, and begin to read what its page will show."""
        if scope["type"] == "http" and scope["method"] == "GET":
            self._begin(scope)
        await self._app(scope, receive, send)

    def _begin(self, scope: Scope) -> None:
        page = scope["path"].strip("/")
        if page in VIEWS or scope["path"].startswith(_FILES):
            self._asked_at = time.monotonic()
        if page not in VIEWS or not self._places.acquire(blocking=False):
            return
        query = parse_qs(scope.get("query_string", b"").decode("latin-1"))
        at_last = self._asked_at + FRAME_ASKED_FOR_WITHIN_S
        self._readers.submit(self._read, scope, page, query, at_last)

    def _read(self, scope: Scope, page: str, query: Query, at_last: float) -> None:
        try:
            asker = self._who(scope)
            self._let_frame_load(at_last)
            if asker is not None:
                read_ahead(asker, page, query)
        except Exception:  # the page itself will say what is amiss
            _LOG.warning("could not read ahead for %r", page, exc_info=True)
        finally:
            self._places.release()

    def _let_frame_load(self, at_last: float) -> None:
        """Wait until the files of the frame have been asked for."""
        while True:
            due = min(self._asked_at + NO_FILE_ASKED_FOR_S, at_last)
            left = due - time.monotonic()
            if left <= 0:
                return
            time.sleep(left)


def read_ahead(asker: Asker, page: str, query: Query) -> None:
    """Read the view that a page will show, if there is one and the asker may see it."""
    demo_first = _first(query, records.WHICH) == DEMO
    try:
        shown = records.shown_to(lambda: asker, demo_first=demo_first)
        VIEWS[page](shown, query)
    except (NotThereError, NotAllowedError, HomeError):
        return


def _first(query: Query, name: str) -> str:
    return (query.get(name) or [""])[0]


def _of(read: Callable[[records.Shown, str], object], name: str) -> Callable:
    """A reader of the one that the address names; of none where it names none."""

    def of_one(shown: records.Shown, query: Query) -> None:
        if _first(query, name):
            read(shown, _first(query, name))

    return of_one


def _of_worklist(shown: records.Shown, query: Query) -> None:
    """Its head, and the first rows where the address names no filter."""
    view = records.worklist(shown)
    if not query.keys() - {records.WHICH}:
        records.worklist_leaf(shown, asked_of(Sieve(), view.choices), 1)


def _of_part(shown: records.Shown, query: Query) -> None:
    shop_id, part_no = (_first(query, name) or None for name in ("shop", "part"))
    records.stock(shown, *((shop_id, part_no) if shop_id and part_no else (None, None)))


#: By page address: what it reads first.
VIEWS: dict[str, Callable[[records.Shown, Query], object]] = {
    "": _of_worklist,
    "bike": _of(records.bike, "unit"),
    "session": _of(records.session, "session"),
    "bench": _of(records.bench, "unit"),
    "fleet": lambda shown, query: records.fleet(shown),
    "checks": lambda shown, query: records.checks(shown),
    "parts": _of_part,
    "repairs": lambda shown, query: records.repairs(shown),
    "trust": lambda shown, query: records.trust(shown),
    "costs": lambda shown, query: records.costs(shown),
}
