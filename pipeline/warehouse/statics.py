"""Learn good ranges from sensors later shown sound, and hold every reading against them.

What the checks of a test come down to is kept; their sentences are put together again for whoever
looks at one test (``pipeline/access/checks_of_test.py``), from the same readings and ranges.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping

import duckdb
import pandas as pd

from models.statics.bands import (
    coded_reading_values,
    learn_bands,
    with_maker_limits,
)
from models.statics.checks import check_outcomes
from models.statics.doubts import signs_by_majority
from models.statics.schemas import READINGS
from models.statics.travel_band import learn_travel_bands
from pipeline.statements import one_row, run, statement, store, store_more, store_parts
from pipeline.warehouse.carried import is_there
from pipeline.warehouse.good_sensors import good_profiles, good_readings
from pipeline.warehouse.lives import MARTS

_CARRIED = "warehouse/sql/carried"
#: The marts that READINGS are taken from, and what takes some of their rows.
_READINGS_OF = {
    "static_readings": f"{MARTS}/static_readings_of",
    "readings_to_take": f"{_CARRIED}/readings_to_take_of",
}
PROVEN_KM = 5_000.0
#: Bench tests held in memory at a time: each is a matter of its own once the ranges are known.
READ_AT_ONCE = 50_000


def judge_statics(connection: duckdb.DuckDBPyConnection) -> None:
    """Good ranges, over the travel too, and each test's checks in the order of reasoning."""
    run(connection, f"{MARTS}/static_readings")
    run(connection, f"{MARTS}/good_tests", {"proven_km": PROVEN_KM})
    families, kinds = _families(connection), _kinds(connection)
    _read_values(connection)
    bands = learn_bands(good_readings(connection), families=families, kinds=kinds)
    profiles = good_profiles(connection)
    store(connection, "travel_bands", learn_travel_bands(profiles, families=families, kinds=kinds))
    makers = run(connection, f"{MARTS}/maker_limits").df()
    store(connection, "bands", with_maker_limits(bands, makers))
    run(connection, f"{MARTS}/check_bands")
    store_parts(connection, "check_outcomes", _outcomes(connection, bands))


def _read_values(connection: duckdb.DuckDBPyConnection) -> None:
    """Keep every reading of every test; those carried over of tests that read the same stay."""
    signs = _signs(connection, f"{MARTS}/end_resistances")
    values = (
        coded_reading_values(readings, signs)
        for readings in _readings(connection, READ_AT_ONCE, _to_read(connection, signs))
    )
    if is_there(connection, "marts", "reading_values"):
        store_more(connection, "reading_values", values)
    else:
        store_parts(connection, "reading_values", values)
    connection.execute("drop table if exists marts.readings_to_take")


def _to_read(connection: duckdb.DuckDBPyConnection, signs: Mapping[str, int]) -> str:
    """The mart whose tests are to be read; values of others are there and stay."""
    if not is_there(connection, "marts", "static_readings_before"):
        connection.execute("drop table if exists marts.reading_values")
        return "static_readings"
    if _signs(connection, f"{_CARRIED}/end_resistances_before") == signs:
        for step in ("readings_to_take", "values_gone"):
            run(connection, f"{_CARRIED}/{step}")
        to_read = "readings_to_take"
    else:
        connection.execute("drop table marts.reading_values")
        to_read = "static_readings"
    connection.execute("drop table marts.static_readings_before")
    return to_read


def _signs(connection: duckdb.DuckDBPyConnection, ends: str) -> dict[str, int]:
    """Which way the resistances of each part number go, as most of the tests have it."""
    return signs_by_majority(run(connection, ends).df())


def _outcomes(connection: duckdb.DuckDBPyConnection, bands: pd.DataFrame) -> Iterator[pd.DataFrame]:
    for readings in _readings(connection, READ_AT_ONCE, "static_readings"):
        yield check_outcomes(readings, bands)


def _readings(
    connection: duckdb.DuckDBPyConnection, at_once: int, table: str
) -> Iterator[pd.DataFrame]:
    """READINGS of all tests of a mart, so many at a time, in the order they lie; at least once."""
    (count,) = one_row(connection.execute(f"select count(*) from marts.{table}"))  # noqa: S608
    for first in range(0, max(count, 1), at_once):
        rows = {"first_row": first, "end_row": first + at_once}
        found = connection.sql(statement(_READINGS_OF[table]), params=rows)
        yield READINGS.check(found.to_arrow_table().to_pandas())


def _families(connection: duckdb.DuckDBPyConnection) -> dict[str, str]:
    """Part number to the last number of its line of replacements."""
    rows = connection.execute(
        "select part_no, replaced_by from staging.parts where replaced_by is not null"
    ).fetchall()
    newer = dict(rows)
    families = {}
    for part_no in {*newer, *newer.values()}:
        last, seen = part_no, {part_no}
        while last in newer and newer[last] not in seen:
            last = newer[last]
            seen.add(last)
        families[part_no] = last
    return families


def _kinds(connection: duckdb.DuckDBPyConnection) -> dict[str, str]:
    """Part number to kind and number of tracks, where both are known."""
    return dict(
        connection.execute(
            "select part_no, concat_ws(' ', kind, tracks) from staging.parts where kind is not null"
        ).fetchall()
    )
