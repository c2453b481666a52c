"""Plan the preventive checks of the coming weeks, and keep what the pages and calendars show."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date
from typing import Any

import duckdb
import pandas as pd
import pyarrow as pa

from models.check_plan import schemas
from models.check_plan.events import events_after
from models.check_plan.plan import CheckRecords
from models.check_plan.plan import plan_checks as plan
from models.check_plan.settings import CheckSettings
from models.check_plan.stock import coming_today
from models.frames import Column, FrameSchema
from models.plans.open_days import dates, weekdays
from models.plans.settings import PlanSettings
from models.stock.schemas import STOCK_ORDERS
from pipeline.statements import one_row, run, statement, store
from pipeline.warehouse.held_memory import let_go
from pipeline.warehouse.lives import MARTS

#: Rows of costs read at a time, about.
_ROWS_AT_ONCE = 200_000

CHECK_SETTINGS = FrameSchema(
    "check_settings",
    "the settings that the plan was made with, one row",
    (
        Column("weeks_ahead", "whole", "weeks planned"),
        Column("check_share_of_bay_hours", "number", "share of bay hours for checks", "0 to 1"),
        Column("bay_hours_per_day_if_unknown", "number", "taken where a shop does not say", "h"),
        Column("test_hours", "number", "of a test", "h"),
        Column("replace_hours", "number", "of a replacement", "h"),
        Column("depot_day_cost", "number", "of a day of one depot", "currency"),
        Column("working_days", "text", "days of the week, Monday being 0, by spaces"),
        Column("closed_days", "text", "dates on which shops are closed, by spaces", blank=True),
        Column("private_not_known", "text", "ask in or wait"),
        Column("currency", "text", "name of the currency", blank=True),
    ),
)


def plan_checks(
    connection: duckdb.DuckDBPyConnection,
    day: date,
    *,
    earlier: pd.DataFrame | None = None,
    private_not_known: str = PlanSettings.private_not_known,
    **settings: Any,
) -> None:
    """Fill ``marts.check_visits``, ``_work``, ``_unplaced``, ``_days``, ``_about``, ``_events``.

    Rests on ``marts.check_costs``, ``planned_work``, ``stock_orders``, ``bikes``, ``tests`` and
    ``sensors_now``, and on ``staging``'s shops, calendar, stock and parts. Everything that goes
    into the plan is read back from there by :func:`check_records`, so that a page can plan anew
    under other settings.

    Parameters
    ----------
    connection : DuckDBPyConnection
        The warehouse that is being built.
    day : date
        The as-of day.
    earlier : frame, optional
        CHECK_EVENTS of the version published before, from :func:`given_out.earlier_events`.
    private_not_known : str
        The owner's choice, kept to be told; ``marts.planned_work`` has followed it.
    **settings
        Those of ``CheckSettings``.
    """
    chosen = CheckSettings(**settings)
    records = check_records(connection, day)
    let_go(connection)
    made = plan(records, day, chosen)
    kept = {
        "check_visits": made.visits,
        "check_work": made.work,
        "check_unplaced": made.unplaced,
        "check_days": made.days,
        "check_about": made.about,
        "check_events": events_after(
            schemas.CHECK_EVENTS.empty() if earlier is None else earlier, made.visits, day
        ),
        "check_settings": CHECK_SETTINGS.check(_as_row(chosen, private_not_known)),
    }
    for name, frame in kept.items():
        store(connection, name, frame)


def settings_for_checks(settings: PlanSettings) -> dict[str, Any]:
    """The owner's settings that the plan of checks takes, under its names."""
    same = (
        *("weeks_ahead", "check_share_of_bay_hours", "bay_hours_per_day_if_unknown"),
        *("test_hours", "replace_hours", "depot_day_cost", "currency"),
    )
    return {name: getattr(settings, name) for name in same} | {
        "working_days": weekdays(settings.working_days),
        "closed_days": dates(settings.closed_days),
    }


def check_records(connection: duckdb.DuckDBPyConnection, day: date) -> CheckRecords:
    """All that the plan is made from, as it stands in a warehouse."""
    return CheckRecords(
        _costs_by_part(connection),
        run(connection, f"{MARTS}/check_owed").df(),
        run(connection, f"{MARTS}/check_bikes").df(),
        run(connection, f"{MARTS}/check_windows").df(),
        run(connection, f"{MARTS}/check_shops").df(),
        run(connection, f"{MARTS}/check_stock", {"as_of": day}).df(),
        run(connection, f"{MARTS}/check_parts").df(),
        coming_today(STOCK_ORDERS.check(connection.execute("from marts.stock_orders").df()), day),
    )


def _costs_by_part(connection: duckdb.DuckDBPyConnection) -> Iterator[pd.DataFrame]:
    """The costs of some thousand sensors at a time, by bike, each with all its days; at least once.

    Read through a connection of their own, so that other statements may come in between.
    """
    (days,) = one_row(connection.execute("select count(distinct day) from marts.check_costs"))
    whole, reading = max(days, 1), connection.cursor()
    reader = reading.sql(statement(f"{MARTS}/check_costs_taken")).to_arrow_reader(_ROWS_AT_ONCE)
    left, told = reader.schema.empty_table(), False
    for batch in reader:
        rows = pa.concat_tables([left, pa.Table.from_batches([batch])])
        end = len(rows) - len(rows) % whole
        left = rows.slice(end)
        if end:
            told = True
            yield rows.slice(0, end).to_pandas()
    if len(left) or not told:
        yield left.to_pandas()
    reading.close()


def _as_row(settings: CheckSettings, private_not_known: str) -> pd.DataFrame:
    row = vars(settings) | {
        "working_days": " ".join(map(str, settings.working_days)),
        "closed_days": " ".join(f"{day:%Y-%m-%d}" for day in settings.closed_days),
        "private_not_known": private_not_known,
    }
    return pd.DataFrame([row])
