"""What was worked out lately, for the next who asks for the same."""

from __future__ import annotations

import threading
from collections.abc import Callable, Hashable
from contextlib import AbstractContextManager, nullcontext
from typing import Generic, TypeVar

Found = TypeVar("Found")


class Lately(Generic[Found]):
    """Results by key, those asked for last; each is worked out by one while others wait for it.

    They are handed out as they are, to be read alone.

    Parameters
    ----------
    most : int
        How many are kept.
    """

    def __init__(self, most: int) -> None:
        self._most = most
        self._lock = threading.Lock()
        self._found: dict[Hashable, Found] = {}
        self._under_way: dict[Hashable, threading.Lock] = {}

    def of(
        self,
        key: Hashable,
        work_out: Callable[[], Found],
        waiting: Callable[[], AbstractContextManager] = nullcontext,
    ) -> Found:
        """What stands under the key, worked out where nobody asked for it lately.

        What ``work_out`` raises is kept by nobody. ``waiting`` stands around the work, and around
        waiting for another's, to say that it takes its time.
        """
        with self._lock:
            if key in self._found:
                return self._again(key)
            turn = self._under_way.setdefault(key, threading.Lock())
        with waiting(), turn:
            with self._lock:
                if key in self._found:
                    return self._again(key)
            try:
                return self._keep(key, work_out())
            finally:
                with self._lock:
                    self._under_way.pop(key, None)

    def forget(self, which: Callable[[Hashable], bool] = lambda key: True) -> None:
        """Keep those of some keys no longer; of all where none are named."""
        with self._lock:
            for key in [key for key in self._found if which(key)]:
                del self._found[key]

    def _again(self, key: Hashable) -> Found:
        found = self._found.pop(key)
        self._found[key] = found  # the last in order is the one asked for last
        return found

    def _keep(self, key: Hashable, found: Found) -> Found:
        with self._lock:
            self._found[key] = found
            for oldest in list(self._found)[: -self._most]:
                del self._found[oldest]
        return found
