"""What is odd in the records though no rule of the contract forbids it, as far as one may see."""

from __future__ import annotations

from datetime import date

import duckdb

from pipeline.asker import Asker
from pipeline.statements import run
from pipeline.warehouse.build import notices_of_records


def notices_for(connection: duckdb.DuckDBPyConnection, asker: Asker, as_of: str) -> list[str]:
    """The notices of the build; made anew from their own records for one who does not see all."""
    if asker.sees_all:
        return run(connection, "access/sql/notices").df()["notice"].tolist()
    found = notices_of_records(connection, date.fromisoformat(as_of))
    return [notice for _, notice in found]
