"""What the plans rest on, read for trying out other settings: no more of it than they move.

A home of some thousand sensors holds over a million chances by sensor, fit and day. They come as
numbers alone, each sensor told by its place, since a million names take longer than all the rest.
"""

from __future__ import annotations

import json
from datetime import date

import duckdb
import numpy as np
import pandas as pd

from models.check_plan import schemas as check
from models.check_plan.plan import CheckRecords
from models.frames import FrameSchema
from models.plans.outlook import ByDay, ByKm, Outlook, outlook_of
from models.plans.schemas import PLAN_SENSORS
from models.stock import schemas as stock
from models.stock.needs import SensorNeeds
from models.stock.plan import StockRecords
from pipeline.statements import one_row, run
from pipeline.warehouse.lives import MARTS


def quick_outlook(connection: duckdb.DuckDBPyConnection) -> Outlook:
    """As ``pipeline.warehouse.plans.read_outlook``."""
    sensors = PLAN_SENSORS.check(run(connection, "access/sql/plan_sensors").df())
    by_day = run(connection, "access/sql/defect_by_day_placed").fetchnumpy()
    (draws, days), (defect, heard) = _by_sensor(
        len(sensors), by_day, ("draw", "days"), ("defect", "heard")
    )
    (km,), (by_km,) = _by_sensor(
        len(sensors),
        run(connection, "access/sql/defect_by_km_placed").fetchnumpy(),
        ("km",),
        ("defect",),
    )
    return outlook_of(
        sensors,
        ByKm(km.astype(float), by_km),
        ByDay(days.astype(int), defect, heard) if len(draws) else None,
        run(connection, "access/sql/new_life_curve").df(),
        run(connection, "access/sql/plan_rates").df(),
    )


def _by_sensor(
    many: int, rows: dict, axes: tuple[str, ...], values: tuple[str, ...]
) -> tuple[list[np.ndarray], list[np.ndarray]]:
    """Each axis's own values, and columns of shape (sensors, axes ...), blank if none is told."""
    place = np.asarray(rows["place"], dtype=np.intp)
    found = []
    for axis in axes:
        own = pd.unique(rows[axis])
        own.sort()
        place = place * len(own) + np.searchsorted(own, rows[axis])
        found.append(own)
    shape = (many, *map(len, found))
    columns = []
    for name in values:
        column = np.full(int(np.prod(shape)), np.nan)
        column[place] = rows[name]
        columns.append(column.reshape(shape))
    return found, columns


def stock_as_built(connection: duckdb.DuckDBPyConnection, day: date) -> StockRecords:
    """The stock's records but for the needs, which are made from the work under other settings.

    Walk-ins and repeats, which rest on all shops, are those of the build.
    """
    (about,) = one_row(run(connection, "access/sql/stock_about"))
    days = np.array(stock.NEED_DAYS, dtype=float)
    nobody = stock.LEFT_OUT.empty()
    return StockRecords(
        needs=SensorNeeds(nobody, days, np.zeros((0, 1, len(days))), nobody),
        places=_rows(connection, "stock_places", stock.SENSOR_PLACES),
        parts=_rows(connection, "stock_parts", stock.PARTS_SUPPLY),
        fitments=_rows(connection, "stock_fitments", stock.FITMENTS),
        counts=_rows(connection, "stock_counts", stock.STOCK_COUNTS, day),
        walk_ins=stock.WALK_INS.check(connection.execute("from marts.stock_walk_ins").df()),
        repeat_rate=json.loads(about)["repeats_per_year"] / 365.25,
        day=day,
    )


def checks_as_built(connection: duckdb.DuckDBPyConnection, day: date) -> CheckRecords:
    """The records of the plan of checks but for costs, owed work and parts ordered today."""
    return CheckRecords(
        costs=check.CHECK_COSTS.empty(),
        owed=check.CHECK_OWED.empty(),
        bikes=_rows(connection, "check_bikes", check.CHECK_BIKES),
        windows=_rows(connection, "check_windows", check.CHECK_WINDOWS),
        shops=_rows(connection, "check_shops", check.CHECK_SHOPS),
        stock=_rows(connection, "check_stock", check.CHECK_STOCK, day),
        parts=_rows(connection, "check_parts", check.CHECK_PARTS),
        coming=check.CHECK_COMING.empty(),
    )


def _rows(
    connection: duckdb.DuckDBPyConnection, name: str, schema: FrameSchema, day: date | None = None
) -> pd.DataFrame:
    parameters = {"as_of": day} if day else None
    return schema.check(run(connection, f"{MARTS}/{name}", parameters).df())
