"""The record as it stood on an earlier day: what was known by then, through the same statements.

The marts of that day are made beside the warehouse, in memory, from the staged rows dated up to it,
by the very statements that make today's. Two things are seen in hindsight: rows that were corrected
later count as corrected, and a repair counts as closed with all that was written of it.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import date

import duckdb
import pandas as pd

from pipeline.statements import run
from pipeline.warehouse.lives import RiskFrames, follow_lives, risk_frames, stage_bikes
from pipeline.warehouse.statics import judge_statics

KNOWN = "warehouse/sql/known"
_DAY = "earlier_day"
#: In the order of what they look up: a bike, its sensors, their tests and repairs.
_KNOWN_TABLES = ("units", "sensors", "odometer", "test_sessions", "repair_outcomes")
_TIMELESS = ("shops", "parts")
_BUILT_MARTS = ("readings", "sensor_lives", "life_windows")
#: What each sweep says by itself, whatever was known of others.
_MEASURED = ("sweep_measures", "sweep_profile", "sweep_bands")


@dataclass(frozen=True)
class EarlierRecord:
    """What the risk model would have been given on ``day``, and the marts behind it."""

    day: date
    connection: duckdb.DuckDBPyConnection
    frames: RiskFrames


@contextmanager
def earlier_record(connection: duckdb.DuckDBPyConnection, day: date) -> Iterator[EarlierRecord]:
    """The record as it stood on ``day``; its marts are gone when left.

    Parameters
    ----------
    connection : DuckDBPyConnection
        On a warehouse whose marts stand.
    day : date
        Rows dated later are not there.
    """
    there = connection.cursor()
    (built,) = there.execute("select current_database()").fetchone() or ("",)
    there.execute(f"attach ':memory:' as {_DAY}")
    try:
        there.execute(f"use {_DAY}")
        _look_back(there, built)
        _fill(there, day)
        yield EarlierRecord(day, there, risk_frames(there, day))
    finally:
        there.close()
        connection.execute(f"detach {_DAY}")


def came_to_light(earlier: EarlierRecord, until: date) -> pd.DataFrame:
    """For each sensor in service on the day: km run in sight up to ``until``, defect found or not.

    Returns
    -------
    frame with ``sensor_id``, ``part_no``, ``duty``, ``age_km``, ``found`` and ``run_km``.
    """
    days = {"as_of": earlier.day, "until": until}
    return run(earlier.connection, f"{KNOWN}/came_to_light", days).df()


def _look_back(there: duckdb.DuckDBPyConnection, built: str) -> None:
    """Windows on the tables as built, to filter from."""
    for schema in ("staging", "marts", "built_staging", "built_marts"):
        there.execute(f"create schema {schema}")
    views = [("built_staging", "staging", name) for name in (*_KNOWN_TABLES, *_TIMELESS)]
    views += [("built_marts", "marts", name) for name in _BUILT_MARTS]
    views += [("staging", "staging", name) for name in _TIMELESS]
    views += [("marts", "marts", name) for name in _MEASURED]
    for here, schema, name in views:
        there.execute(f'create view {here}.{name} as from "{built}".{schema}.{name}')


def _fill(there: duckdb.DuckDBPyConnection, day: date) -> None:
    run(there, f"{KNOWN}/bikes_known")
    for name in _KNOWN_TABLES:
        run(there, f"{KNOWN}/{name}", {"as_of": day})
    stage_bikes(there, day)
    follow_lives(there)
    judge_statics(there)
