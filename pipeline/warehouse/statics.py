"""Learn good ranges from sensors later shown sound, and hold every reading against them."""

from __future__ import annotations

from collections.abc import Iterator

import duckdb
import pandas as pd

from models.statics.bands import (
    coded_reading_values,
    learn_bands,
    one_value_a_sensor,
    with_maker_limits,
)
from models.statics.checks import coded_checks
from models.statics.coded import one_after_another
from models.statics.doubts import signs_by_majority
from models.statics.schemas import GOOD_PROFILES, GOOD_READINGS, READINGS
from models.statics.travel_band import learn_travel_bands
from pipeline.statements import one_row, run, statement, store, store_parts
from pipeline.warehouse.lives import MARTS

_READINGS_OF = f"{MARTS}/static_readings_of"
PROVEN_KM = 5_000.0
#: Bench tests held in memory at a time: each is a matter of its own once the ranges are known.
#: Fewer checked than these give fewer rows than DuckDB lays down as a group (122,880), which take
#: it longer to store.
READ_AT_ONCE = 50_000
CHECKED_AT_ONCE = 10_000


def judge_statics(connection: duckdb.DuckDBPyConnection) -> None:
    """Good ranges, over the travel too, and each test's checks in the order of reasoning."""
    run(connection, f"{MARTS}/static_readings")
    run(connection, f"{MARTS}/good_tests", {"proven_km": PROVEN_KM})
    families, kinds = _families(connection), _kinds(connection)
    good = _read_values(connection)
    bands = learn_bands(good, families=families, kinds=kinds)
    profiles = GOOD_PROFILES.check(run(connection, f"{MARTS}/good_profiles").df())
    store(connection, "travel_bands", learn_travel_bands(profiles, families=families, kinds=kinds))
    makers = run(connection, f"{MARTS}/maker_limits").df()
    store(connection, "bands", with_maker_limits(bands, makers))
    store_parts(connection, "checks", _checks(connection, bands))


def _read_values(connection: duckdb.DuckDBPyConnection) -> pd.DataFrame:
    """Keep every reading of every test; return one value of each reading of each good sensor."""
    signs = signs_by_majority(run(connection, f"{MARTS}/end_resistances").df())
    rows = connection.execute("select session_id from marts.good_tests").fetchall()
    good, kept = {row[0] for row in rows}, []

    def parts() -> Iterator[pd.DataFrame]:
        for readings in _readings(connection, READ_AT_ONCE):
            values = coded_reading_values(readings, signs)
            kept.append(values[values["session_id"].isin(good)])
            yield values

    store_parts(connection, "reading_values", parts())
    # by sensor over all its tests, so that it waits for the last part
    static = one_value_a_sensor(one_after_another(kept))
    swept = run(connection, f"{MARTS}/good_sweep_readings").df()
    return pd.concat([static, GOOD_READINGS.check(swept)])


def _checks(connection: duckdb.DuckDBPyConnection, bands: pd.DataFrame) -> Iterator[pd.DataFrame]:
    for readings in _readings(connection, CHECKED_AT_ONCE):
        yield coded_checks(readings, bands)


def _readings(connection: duckdb.DuckDBPyConnection, at_once: int) -> Iterator[pd.DataFrame]:
    """READINGS of all bench tests, so many at a time, in the order of their keys; at least once."""
    (count,) = one_row(connection.execute("select count(*) from marts.static_readings"))
    for first in range(0, max(count, 1), at_once):
        rows = {"first_row": first, "end_row": first + at_once}
        found = connection.sql(statement(_READINGS_OF), params=rows)
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
