"""Published warehouses kept open between readings, which then cost no opening.

A reading gets a connection of its own (a cursor), never one that another thread uses. A version
is told by its file, not by its name alone: a home put back from a copy may use a name again, and
DuckDB would go on with the file it holds.

Each keeps what it read of its file in memory, as far as it is allowed to: so there are only so
many, none is kept that nobody has read for a while, and each has its bound.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Hashable
from dataclasses import dataclass, replace
from pathlib import Path

import duckdb

#: Warehouses kept open at most, each as one kind of asker sees it.
MOST = 12
#: One that nobody read for this long is let go at the next reading of any.
UNREAD_S = 15 * 60.0
#: What one may hold of its file, at least: a reading of a hundred thousand tests needs a third.
LEAST_BYTES = 256 * 2**20


@dataclass(frozen=True)
class _Kept:
    file: tuple[int, int, int]
    connection: duckdb.DuckDBPyConnection
    read_at: float


_LOCK = threading.Lock()
_KEPT: dict[tuple[Path, Hashable], _Kept] = {}


def opened(
    path: Path, seen_by: Hashable, opening: Callable[[], duckdb.DuckDBPyConnection]
) -> duckdb.DuckDBPyConnection:
    """A connection to a published warehouse, for one reading.

    Parameters
    ----------
    path : Path
        The version's file.
    seen_by : hashable
        What decides which of its rows are seen: an asker's part and scope.
    opening : callable
        Opens it where it is not open yet.

    Raises
    ------
    OSError
        The file is gone.
    """
    with _LOCK:
        file, key = _identity(path), (path, seen_by)
        found = _KEPT.pop(key, None)
        if found is not None and found.file != file:
            found = None
            _let_go(lambda held, _: held == path)
        if found is None:
            # older versions of this home are let go, so that they can be tidied away
            _let_go(lambda held, _: held.parent == path.parent and held != path)
            found = _Kept(file, opening(), 0.0)
        now = time.monotonic()
        _KEPT[key] = replace(found, read_at=now)  # the last in order is the one used last
        _let_go(lambda _, kept: now - kept.read_at > UNREAD_S)
        for oldest in list(_KEPT)[:-MOST]:
            del _KEPT[oldest]
        return found.connection.cursor()


def bound_memory(connection: duckdb.DuckDBPyConnection, path: Path) -> None:
    """Let a warehouse hold half of its file in memory at most, or so much of a small one.

    Without a bound each would take most of the machine's memory as time goes on. Indexes, which it
    cannot let go, are a seventh of the file.
    """
    most = max(LEAST_BYTES, path.stat().st_size // 2)
    connection.execute(f"set memory_limit = '{most} bytes'")


def _identity(path: Path) -> tuple[int, int, int]:
    known = path.stat()
    return known.st_ino, known.st_mtime_ns, known.st_size


def _let_go(which: Callable[[Path, _Kept], bool]) -> None:
    """Keep those of some files no longer.

    They are not closed, which would close what was taken from them too: the file is let go by
    itself once the last reading of it has ended.
    """
    for key in [key for key, kept in _KEPT.items() if which(key[0], kept)]:
        del _KEPT[key]
