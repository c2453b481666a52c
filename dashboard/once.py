"""What a page works out of a view, worked out once for as long as the view is kept."""

from __future__ import annotations

import weakref
from collections import deque
from collections.abc import Callable, Hashable
from typing import TypeVar

from dashboard.shown_as import shown_as
from pipeline.lately import Lately

Made = TypeVar("Made")

#: Results kept of all views, those asked for last: filters can be put together in many ways.
MOST, MOST_BYTES = 400, 128 * 2**20
_KEPT: Lately = Lately(MOST, MOST_BYTES)
#: Views watched for their end, and those that are no more. The end of one is only noted, since it
#: may come anywhere, even while a result is kept.
_WATCHED: set[int] = set()
_GONE: deque[int] = deque()


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

    Raises
    ------
    TypeError
        The name holds a value of a page's own class. Each run of a page makes its classes anew, so
        that no later run's value would be equal to it.
    """
    _refuse_own_classes(name)
    let_go_of_gone()
    if id(view) not in _WATCHED:
        _WATCHED.add(id(view))
        weakref.finalize(view, _GONE.append, id(view))
    return _KEPT.of((id(view), name, shown_as()), make)


def let_go_of_gone() -> None:
    """Forget what was made of views that are no more, before another takes the name of one."""
    while _GONE:
        gone = _GONE.popleft()
        _WATCHED.discard(gone)
        _KEPT.forget(lambda key, gone=gone: key[0] == gone)


def _refuse_own_classes(name: Hashable) -> None:
    for part in name if isinstance(name, tuple) else (name,):
        if type(part).__module__ == "__main__":
            raise TypeError(f"{type(part).__name__} is made anew by each run of its page")
