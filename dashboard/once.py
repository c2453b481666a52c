"""What a page works out of a view, worked out once for as long as the view is kept."""

from __future__ import annotations

import threading
import weakref
from collections.abc import Callable, Hashable
from typing import TypeVar

from dashboard.shown_as import shown_as
from pipeline.lately import Lately

Made = TypeVar("Made")

#: Results kept of one view, those made last: filters can be put together in many ways.
MOST = 40
_LOCK = threading.Lock()
_KEPT: dict[int, Lately] = {}


def once(view: object, name: Hashable, make: Callable[[], Made]) -> Made:
    """The result of ``make()``, from before where it was made of this very view.

    Words among it hang on how values are shown to this reader, so it is made anew for another way.

    Parameters
    ----------
    view : object
        What it is made of; it is never changed, and what was made goes with it.
    name : hashable
        Tells what is made, with all that it depends on besides the view.
    make : callable
        Makes it; pages only read what it returns.
    """
    with _LOCK:
        kept = _KEPT.get(id(view))
        if kept is None:
            kept = _KEPT[id(view)] = Lately(MOST)
            weakref.finalize(view, _KEPT.pop, id(view), None)
    return kept.of((name, shown_as()), make)
