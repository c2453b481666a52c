"""What was worked out lately, for the next who asks for the same."""

from __future__ import annotations

import threading
from collections.abc import Callable, Hashable
from contextlib import AbstractContextManager, nullcontext
from typing import Generic, TypeVar

from pipeline.weight import weight

Found = TypeVar("Found")


class Lately(Generic[Found]):
    """Results by key, those asked for last; each is worked out by one while others wait for it.

    They are handed out as they are, to be read alone.

    Parameters
    ----------
    most : int
        How many are kept.
    most_bytes : int
        How many bytes they hold together, by :func:`pipeline.weight.weight`; where the last one
        alone holds more, it is kept by itself.
    """

    def __init__(self, most: int, most_bytes: int) -> None:
        self._most, self._most_bytes = most, most_bytes
        self._lock = threading.Lock()
        self._found: dict[Hashable, Found] = {}
        self._bytes: dict[Hashable, int] = {}
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
            gone = [self._let_go(key) for key in list(self._found) if which(key)]
        del gone  # outside of the lock: what goes with them may ask here again

    def _again(self, key: Hashable) -> Found:
        found = self._found.pop(key)
        self._found[key] = found  # the last in order is the one asked for last
        return found

    def _keep(self, key: Hashable, found: Found) -> Found:
        held = weight(found)
        gone = []
        with self._lock:
            self._found[key], self._bytes[key] = found, held
            while len(self._found) > 1 and self._is_too_much():
                gone.append(self._let_go(next(iter(self._found))))
        del gone
        return found

    def _is_too_much(self) -> bool:
        return len(self._found) > self._most or self.bytes_held > self._most_bytes

    def _let_go(self, key: Hashable) -> Found:
        del self._bytes[key]
        return self._found.pop(key)

    @property
    def bytes_held(self) -> int:
        """What they hold together, as they were when they were worked out."""
        return sum(self._bytes.values())
