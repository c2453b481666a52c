"""The checks of one bench test in words, worked out when it is looked at."""

from __future__ import annotations

import duckdb
import pandas as pd

from models.statics.checks import check_readings
from models.statics.schemas import BANDS, READINGS
from pipeline.access.reading import read_frame


def checks_of_test(connection: duckdb.DuckDBPyConnection, session_id: str) -> pd.DataFrame:
    """CHECKS of a test by the good ranges of its build; none where the records hold no readings.

    A range that the asker may not see judges nothing, and the check says so.
    """
    key = {"session_id": session_id}
    readings = read_frame(connection, "session_static_readings", READINGS, key)
    return check_readings(readings, read_frame(connection, "session_check_bands", BANDS, key))
