"""Published warehouses kept open between readings, which then cost no opening.

A reading gets a connection of its own (a cursor), never one that another thread uses. A version
is told by its file, not by its name alone: a home put back from a copy may use a name again, and
DuckDB would go on with the file it holds.
"""

from __future__ import annotations

import threading
from collections.abc import Callable, Hashable
from dataclasses import dataclass
from pathlib import Path

import duckdb

#: Warehouses kept open at most, each as one kind of asker sees it.
MOST = 12


@dataclass(frozen=True)
class _Kept:
    file: tuple[int, int, int]
    connection: duckdb.DuckDBPyConnection


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
            _let_go(lambda held: held == path)
        if found is None:
            # older versions of this home are let go, so that they can be tidied away
            _let_go(lambda held: held.parent == path.parent and held != path)
            found = _Kept(file, opening())
        _KEPT[key] = found  # the last in order is the one used last
        for oldest in list(_KEPT)[:-MOST]:
            del _KEPT[oldest]
        return found.connection.cursor()


def _identity(path: Path) -> tuple[int, int, int]:
    known = path.stat()
    return known.st_ino, known.st_mtime_ns, known.st_size


def _let_go(which: Callable[[Path], bool]) -> None:
    """Keep those of some files no longer.

    They are not closed, which would close what was taken from them too: the file is let go by
    itself once the last reading of it has ended.
    """
    for key in [key for key in _KEPT if which(key[0])]:
        del _KEPT[key]
