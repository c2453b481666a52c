"""How much DuckDB holds: it gives back what it has read before arrays take the memory."""

from __future__ import annotations

import re
from contextlib import suppress

import duckdb

from pipeline.statements import one_row

_WHOLE_MIB = re.compile(r"\d+\.0 MiB")
#: What DuckDB may go on holding, bytes.
KEPT_BYTES = 64 << 20


def let_go(connection: duckdb.DuckDBPyConnection, kept_bytes: int = KEPT_BYTES) -> None:
    """Have DuckDB give back pages that it can read again, all but so many bytes.

    It keeps what it has read up to its limit, which is right while statements follow one another
    and of no use while models work. Nothing is lost, whatever it cannot give back. Where it may
    hold what the machine has, it goes on doing so.
    """
    (held,) = one_row(connection.execute("select sum(memory_usage_bytes) from duckdb_memory()"))
    if held <= kept_bytes:
        return
    (limit,) = one_row(connection.execute("select current_setting('memory_limit')"))
    if not _WHOLE_MIB.fullmatch(limit):
        return  # told in tenths, it could not be put back as it is
    with suppress(duckdb.OutOfMemoryException):
        connection.execute(f"set memory_limit = '{kept_bytes} bytes'")
    connection.execute(f"set memory_limit = '{limit}'")
