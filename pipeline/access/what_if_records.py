"""What the plans rest on, read for trying out other settings: no more of it than they move."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import date

import duckdb
import numpy as np
import pandas as pd

from models.check_plan import schemas as check
from models.check_plan.plan import CheckRecords
from models.frames import FrameSchema
from models.plans.need import part_need
from models.plans.outlook import Outlook
from models.stock import schemas as stock
from models.stock.needs import SensorNeeds
from models.stock.plan import StockRecords
from pipeline.statements import one_row, run
from pipeline.warehouse.lives import MARTS


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


def needs_ahead(outlook: Outlook, work: pd.DataFrame) -> tuple[np.ndarray, np.ndarray]:
    """Chances of a need under the work advised, as the stock plan takes them.

    Of the fits drawn where some are, else of the estimate.

    Parameters
    ----------
    outlook : Outlook
        Of n sensors.
    work : frame of shape (n, ...)
        PLANNED_WORK.

    Returns
    -------
    chances : array of shape (known sensors, fits, days ahead)
    known : array of bool, shape (n,)
        Whether a sensor's chances are known up to the last day; it is left out otherwise.
    """
    fits = slice(1 if outlook.heard.shape[1] > 1 else 0, None)
    drawn = replace(outlook, defect=outlook.defect[:, fits], heard=outlook.heard[:, fits])
    ahead = slice(int(np.searchsorted(outlook.days, 0, side="right")), None)
    chances = part_need(drawn, work)[..., ahead]
    known = ~np.isnan(chances[..., -1]).any(axis=1)
    chances = chances if known.all() else chances[known]
    chances[np.isnan(chances)] = 0.0  # where only planned work is known of, nothing counts before
    return chances, known


def needs_of(outlook: Outlook, chances: np.ndarray, known: np.ndarray) -> SensorNeeds:
    """The same, from ``needs_ahead``, with whose they are."""
    who = outlook.sensors[["sensor_id", "unit_id", "shop_id", "part_no"]]
    return SensorNeeds(
        who[known].reset_index(drop=True),
        outlook.days[outlook.days > 0].astype(float),
        chances,
        stock.LEFT_OUT.check(who[~known].reset_index(drop=True)),
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
