"""The parts stock plan from the records, kept for the pages."""

from __future__ import annotations

import json
from dataclasses import asdict
from datetime import date
from typing import Any

import duckdb
import pandas as pd

from models.frames import FrameSchema
from models.plans.settings import PlanSettings
from models.stock import schemas
from models.stock.needs import SensorNeeds, sensor_needs
from models.stock.plan import StockRecords, stock_plan
from models.stock.repeats import repeat_rate
from models.stock.settings import StockSettings
from models.stock.walk_in import walk_in_rates
from pipeline.statements import run, store
from pipeline.warehouse.lives import MARTS

NO_TRANSFERS = schemas.TRANSFERS_ALLOWED.empty()


def plan_stock(
    connection: duckdb.DuckDBPyConnection,
    day: date,
    needs: SensorNeeds | None = None,
    *,
    transfers_allowed: pd.DataFrame = NO_TRANSFERS,
    currency: str = "",
    **settings: Any,
) -> None:
    """Keep what to order today and all that is shown of it as ``marts.stock_…``.

    Parameters
    ----------
    connection : DuckDBPyConnection
        A warehouse that holds ``marts.part_need``.
    day : date
        The as-of day.
    needs : SensorNeeds, optional
        What ``marts.part_need`` holds, where it is at hand; else it is read.
    transfers_allowed : frame
        TRANSFERS_ALLOWED: shops that may pass parts to one another; none by default.
    currency : str
        What the shop's money is called; blank where it has not said.
    **settings
        Those of ``StockSettings``.

    Raises
    ------
    ValueError
        A setting makes no sense; the message names it.
    """
    chosen = StockSettings(**settings).check()
    records = read_stock_records(connection, day, needs)
    plan = stock_plan(records, chosen, transfers_allowed)
    about = {
        "n_sensors": len(records.needs.sensors),
        "n_draws": records.needs.chances.shape[1],
        "repeats_per_year": records.repeat_rate * 365.25,
        "settings": asdict(chosen),
        "transfers_allowed": len(transfers_allowed),
        "currency": currency,
    }
    store(connection, "stock_orders", plan.orders)
    store(connection, "stock_transfers", plan.transfers)
    store(connection, "stock_demand", plan.demand)
    store(connection, "stock_weeks", plan.weeks)
    store(connection, "stock_pools", plan.pools)
    store(connection, "stock_last_buys", plan.last_buys)
    store(connection, "stock_walk_ins", records.walk_ins)
    store(connection, "stock_left_out", records.needs.left_out)
    store(connection, "stock_about", pd.DataFrame([{"about": json.dumps(about)}]))


def stock_settings(settings: PlanSettings) -> dict[str, Any]:
    """The settings that the stock plan takes, under its names."""
    same = (
        *("review_days", "target_filled_share", "order_by", "holding_cost_share_per_year"),
        *("shortage_cost", "lead_time_days_if_unknown", "stock_count_stale_after_days"),
        *("order_cost", "last_order_covers_days"),
    )
    taken = {name: getattr(settings, name) for name in same}
    return taken | {"price_if_unknown": settings.part_cost_if_unknown}


def read_stock_records(
    connection: duckdb.DuckDBPyConnection, day: date, needs: SensorNeeds | None = None
) -> StockRecords:
    """What the records say of needs, but where they are at hand, and of stock on a day."""
    if needs is None:
        needs = sensor_needs(_rows(connection, "stock_needs", schemas.PART_NEED))
    first_visits = _rows(connection, "stock_first_visits", schemas.FIRST_VISITS, day)
    return StockRecords(
        needs=needs,
        places=_rows(connection, "stock_places", schemas.SENSOR_PLACES),
        parts=_rows(connection, "stock_parts", schemas.PARTS_SUPPLY),
        fitments=_rows(connection, "stock_fitments", schemas.FITMENTS),
        counts=_rows(connection, "stock_counts", schemas.STOCK_COUNTS, day),
        walk_ins=walk_in_rates(first_visits),
        repeat_rate=repeat_rate(_rows(connection, "stock_repeats", schemas.REPEATS, day)),
        day=day,
    )


def _rows(
    connection: duckdb.DuckDBPyConnection, name: str, schema: FrameSchema, day: date | None = None
) -> pd.DataFrame:
    parameters = {"as_of": day} if day else None
    return schema.check(run(connection, f"{MARTS}/{name}", parameters).df())
