"""What each travel bin of a life's tests showed, laid out when somebody looks at it."""

from __future__ import annotations

import duckdb
import pandas as pd

from models.frames import Column, FrameSchema
from models.wear.profiles import profiles_of
from models.wear.records import wear_records
from models.wear.schemas import ROUGHNESS_BAND, WEAR_BINS, WEAR_TESTS
from pipeline.access.reading import read_frame
from pipeline.statements import run

WEAR_PROFILE_ROWS = FrameSchema(
    "wear_profile_rows",
    "one travel bin of one test of one life, the earliest test first",
    (
        Column("session_id", "text", "the test"),
        Column("tested_on", "date", "its day"),
        Column("sensor_age_km", "number", "the sensor's age", "km"),
        Column("bin_from_pct", "number", "lower edge of the bin, 2 % wide", "% of travel"),
        Column("exposure", "number", "passes that would have shown a drop-out", "passes"),
        Column("dropout_count", "whole", "drop-outs seen"),
        Column("roughness", "number", "smoothness over the test's median", "ratio", True),
        Column("fleet_low", "number", "5 of 100 sensors that passed are below", "ratio", True),
        Column("fleet_high", "number", "5 of 100 are above", "ratio", True),
        Column("fleet_sensors", "whole", "sensors of the part behind these"),
    ),
)


def profile_rows(connection: duckdb.DuckDBPyConnection, life_id: str) -> pd.DataFrame:
    """WEAR_PROFILE_ROWS of a life; none of one without a mapped test."""
    life = {"life_id": life_id}
    tests = run(connection, "access/sql/wear_tests_of_life", life).df()
    if tests.empty:
        return WEAR_PROFILE_ROWS.empty()
    bins = read_frame(connection, "wear_bins_of_life", WEAR_BINS, life)
    rows = profiles_of(wear_records(WEAR_TESTS.check(tests), bins))
    part = {"part_no": tests["part_no"].iloc[0]}
    fleet = read_frame(connection, "wear_roughness_of_part", ROUGHNESS_BAND, part)
    fleet = fleet.rename(
        columns={"low": "fleet_low", "high": "fleet_high", "sensor_count": "fleet_sensors"}
    )
    dated = tests[["session_id", "tested_on", "sensor_age_km"]]
    found = rows.merge(dated, on="session_id", how="left")
    found = found.merge(fleet.drop(columns=["part_no", "middle"]), on="bin_from_pct", how="left")
    return WEAR_PROFILE_ROWS.check(found.fillna({"fleet_sensors": 0}))
