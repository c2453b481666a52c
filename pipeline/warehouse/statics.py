"""Learn good ranges from sensors later shown sound, and hold every reading against them."""

from __future__ import annotations

import duckdb
import pandas as pd

from models.statics.bands import learn_bands, one_value_a_sensor, reading_values, with_maker_limits
from models.statics.checks import check_readings
from models.statics.schemas import GOOD_PROFILES, GOOD_READINGS, READINGS
from models.statics.travel_band import learn_travel_bands
from pipeline.statements import run, store
from pipeline.warehouse.lives import MARTS

PROVEN_KM = 5_000.0


def judge_statics(connection: duckdb.DuckDBPyConnection) -> None:
    """Good ranges, over the travel too, and each test's checks in the order of reasoning."""
    run(connection, f"{MARTS}/static_readings")
    run(connection, f"{MARTS}/good_tests", {"proven_km": PROVEN_KM})
    readings = READINGS.check(connection.execute("from marts.static_readings").df())
    values = reading_values(readings)
    families, kinds = _families(connection), _kinds(connection)
    bands = learn_bands(_good(connection, values), families=families, kinds=kinds)
    profiles = GOOD_PROFILES.check(run(connection, f"{MARTS}/good_profiles").df())
    store(connection, "travel_bands", learn_travel_bands(profiles, families=families, kinds=kinds))
    store(connection, "reading_values", values)
    store(connection, "bands", with_maker_limits(bands, readings))
    store(connection, "checks", check_readings(readings, bands))


def _good(connection: duckdb.DuckDBPyConnection, values: pd.DataFrame) -> pd.DataFrame:
    """One value of each reading of each good sensor, from readings at rest and from sweeps."""
    rows = connection.execute("select session_id from marts.good_tests").fetchall()
    good = {row[0] for row in rows}
    static = one_value_a_sensor(values[values["session_id"].isin(good)])
    swept = run(connection, f"{MARTS}/good_sweep_readings").df()
    return pd.concat([static, GOOD_READINGS.check(swept)])


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
