"""How much a build holds beside what it works with: it gives back what it can before long work.

DuckDB keeps what it has read, and the allocator what has been freed between arrays that still
stand: at a million tests some hundred megabytes each.
"""

from __future__ import annotations

import ctypes
import os
import re
import sys
from contextlib import suppress
from pathlib import Path

import duckdb
import pyarrow as pa

from pipeline.statements import one_row

_WHOLE_MIB = re.compile(r"\d+\.0 MiB")
#: What DuckDB may go on holding, bytes.
KEPT_BYTES = 64 << 20
#: What a process holds from which freed memory is given back, bytes.
FREED_FROM_BYTES = 1 << 30


def let_go(connection: duckdb.DuckDBPyConnection, kept_bytes: int = KEPT_BYTES) -> None:
    """Have DuckDB give back pages that it can read again, all but so many bytes, and freed memory.

    It keeps what it has read up to its limit, which is right while statements follow one another
    and of no use while models work or sweeps are measured. Nothing is lost, whatever it cannot give
    back. Where it may hold what the machine has, it goes on doing so.
    """
    _let_pages_go(connection, kept_bytes)
    give_back_freed()


def give_back_freed() -> None:
    """Have Arrow and the allocator give back to the system what nothing stands in.

    Other systems than Linux do so by themselves, or cannot be asked; a small process keeps what it
    will use again.
    """
    if sys.platform != "linux" or _resident_bytes() < FREED_FROM_BYTES:
        return
    pa.default_memory_pool().release_unused()
    with suppress(AttributeError, OSError):  # another C library than glibc has no such function
        ctypes.CDLL(None).malloc_trim(0)


def _let_pages_go(connection: duckdb.DuckDBPyConnection, kept_bytes: int) -> None:
    (held,) = one_row(connection.execute("select sum(memory_usage_bytes) from duckdb_memory()"))
    if held <= kept_bytes:
        return
    (limit,) = one_row(connection.execute("select current_setting('memory_limit')"))
    if not _WHOLE_MIB.fullmatch(limit):
        return  # told in tenths, it could not be put back as it is
    with suppress(duckdb.OutOfMemoryException):
        connection.execute(f"set memory_limit = '{kept_bytes} bytes'")
    connection.execute(f"set memory_limit = '{limit}'")


def _resident_bytes() -> int:
    """Memory that this process holds, on Linux."""
    pages = Path("/proc/self/statm").read_text(encoding="ascii").split()[1]
    return int(pages) * os.sysconf("SC_PAGE_SIZE")
