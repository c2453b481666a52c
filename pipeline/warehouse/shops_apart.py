"""Whose record each test is, and how many shops stand behind what all of them say together."""

from __future__ import annotations

import duckdb

from pipeline.statements import run
from pipeline.warehouse.lives import MARTS


def tell_shops_apart(connection: duckdb.DuckDBPyConnection) -> None:
    """Keep ``marts.test_shops`` and ``shops_behind`` for those who ask later.

    ``marts.bike_shops`` is there already: samples are kept by it.
    """
    for name in ("test_shops", "shops_behind"):
        run(connection, f"{MARTS}/{name}")
