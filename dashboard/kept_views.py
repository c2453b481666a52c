"""Views read once for all who may see them, and kept for those who ask next."""

from __future__ import annotations

import threading
from collections.abc import Callable, Hashable
from contextlib import AbstractContextManager, nullcontext
from typing import TypeVar

View = TypeVar("View")


class KeptViews:
    """Views by key, those asked for last; each is read by one thread while others wait for it.

    Parameters
    ----------
    most : int
        How many are kept.
    """

    def __init__(self, most: int) -> None:
        self._most = most
        self._lock = threading.Lock()
        self._found: dict[Hashable, object] = {}
        self._being_read: dict[Hashable, threading.Lock] = {}

    def get(
        self,
        key: Hashable,
        read: Callable[[], View],
        waiting: Callable[[], AbstractContextManager] = nullcontext,
    ) -> View:
        """The view of a key, read where it is not kept; what ``read`` raises is kept by nobody.

        ``waiting`` stands around a reading, to say that it takes its time.
        """
        with self._lock:
            if key in self._found:
                return self._again(key)
            turn = self._being_read.setdefault(key, threading.Lock())
        with waiting(), turn:
            with self._lock:
                if key in self._found:
                    return self._again(key)
            try:
                return self._keep(key, read())
            finally:
                with self._lock:
                    self._being_read.pop(key, None)

    def clear(self) -> None:
        """Keep none any more."""
        with self._lock:
            self._found.clear()

    def _again(self, key: Hashable) -> View:
        view = self._found.pop(key)
        self._found[key] = view  # the last in order is the one asked for last
        return view  # type: ignore[return-value]

    def _keep(self, key: Hashable, view: View) -> View:
        with self._lock:
            self._found[key] = view
            for oldest in list(self._found)[: -self._most]:
                del self._found[oldest]
        return view
