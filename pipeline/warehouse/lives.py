"""From the staged tables to each sensor's lives, and to the frames that the risk model takes.

The same statements make the record of today and that of an earlier day (the backtest): which day is
meant stands in ``as_of``, and which rows were known by then in ``staging``.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

import duckdb
import pandas as pd

from models.risk.schemas import (
    CONTACT_GAPS,
    FOLLOWED_UP,
    LIFE_WINDOWS,
    SENSORS_NOW,
    WEAR_READINGS,
)
from pipeline.statements import run

MARTS = "warehouse/sql/marts"
_LIVES = (
    *("tests", "repairs_after_tests", "defects", "repairs", "answered_tests", "sensor_spans"),
    *("test_lives", "life_tests", "contacts", "life_windows", "last_tests"),
)


@dataclass(frozen=True)
class RiskFrames:
    """What the risk model takes, each as declared in ``models.risk.schemas``."""

    windows: pd.DataFrame
    sensors_now: pd.DataFrame
    followed_up: pd.DataFrame
    contact_gaps: pd.DataFrame
    wear_readings: pd.DataFrame


def stage_bikes(connection: duckdb.DuckDBPyConnection, day: date) -> None:
    """Odometers up to the day, bikes as estimated for it, and each sensor's time on its bike."""
    run(connection, f"{MARTS}/readings", {"as_of": day})
    run(connection, f"{MARTS}/bikes", {"as_of": day})
    run(connection, f"{MARTS}/sensor_lives")


def follow_lives(connection: duckdb.DuckDBPyConnection) -> None:
    """From tests, measured sweeps and repairs to each sensor's lives and what ended them."""
    for name in _LIVES:
        run(connection, f"{MARTS}/{name}")


def risk_frames(connection: duckdb.DuckDBPyConnection, day: date) -> RiskFrames:
    """The last marts before the risk model, and all its frames. Contactless sensors do not wear."""
    run(connection, f"{MARTS}/sensors_now", {"as_of": day})
    for name in ("followed_up", "wear_readings"):
        run(connection, f"{MARTS}/{name}")
    run(connection, f"{MARTS}/contact_gaps", {"as_of": day})
    now = connection.execute("from marts.sensors_now order by sensor_id").df()
    worn = now[~now["kind"].eq("contactless")].reset_index(drop=True)
    windows = connection.execute("from marts.life_windows order by life_id").df()
    return RiskFrames(
        LIFE_WINDOWS.check(windows),
        SENSORS_NOW.check(worn),
        FOLLOWED_UP.check(connection.execute("from marts.followed_up order by all").df()),
        CONTACT_GAPS.check(connection.execute("from marts.contact_gaps order by all").df()),
        WEAR_READINGS.check(connection.execute("from marts.wear_readings order by all").df()),
    )
