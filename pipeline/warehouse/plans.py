"""From the fitted risk to what costs least for each sensor, and to what the other plans rest on."""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator
from dataclasses import asdict
from datetime import date
from functools import partial

import duckdb
import numpy as np
import pandas as pd

from models.plans.cheapest import Weighed, cheapest, weigh
from models.plans.check_costs import check_costs_by_part
from models.plans.followed import Fits, Followed, all_by_fit, asked, followed, work_now
from models.plans.need import need_rows, needs_by_part
from models.plans.outlook import Outlook, outlook_ahead, outlook_of
from models.plans.planned_work import planned_work, waiting_private
from models.plans.saving import EXPECTED_COST, cost_row, known_costs
from models.plans.schemas import CHEAPEST, PLAN_RATES, PLAN_SENSORS
from models.plans.settings import PlanSettings
from models.risk.ahead import road_share
from models.risk.assumed import FALSE_ALARM
from models.risk.delay import assumed_delay
from models.risk.odometer_rate import Riding
from models.risk.outlook import (
    DefectsAhead,
    defects_ahead,
    new_life_curve,
    sensor_outlook,
)
from models.risk.score import RiskResults
from models.risk.spreads import Remember
from models.stock.needs import SensorNeeds, needs_laid_out
from models.stock.schemas import TRANSFERS_ALLOWED
from pipeline.intake.settings.settings_file import SettingsFile
from pipeline.statements import one_row, run, store, store_more, store_parts
from pipeline.warehouse.lives import MARTS, RiskFrames
from pipeline.warehouse.risk_fit import store_fitted, store_fitted_parts
from pipeline.warehouse.stock import plan_stock, stock_settings


def look_out(
    connection: duckdb.DuckDBPyConnection,
    version: str,
    results: RiskResults,
    frames: RiskFrames,
    riding: Riding | None,
    remember: Remember,
) -> DefectsAhead:
    """Keep each sensor's chances by km, and by date and fit, for all that is planned from them.

    ``version`` names the fit, which each row tells; ``remember`` is that of its spreads.
    """
    keep = partial(store_fitted, connection, version)
    run(connection, f"{MARTS}/new_part_numbers")
    numbers = connection.execute("from marts.new_part_numbers").df()
    new_parts = dict(zip(numbers["part_no"], numbers["new_part_no"], strict=True))
    now = results.defect_risk.set_index("sensor_id")["defect_now"]
    sensors = frames.sensors_now
    outlook = sensor_outlook(results.model, sensors, now, riding, new_parts)
    keep("sensor_outlook", outlook)
    ahead = defects_ahead(
        results.model,
        sensors,
        riding,
        results.settings,
        remember=remember,
        estimates=results.estimates,
    )
    store_fitted_parts(connection, version, "defect_by_km", ahead.by_km_parts())
    store_fitted_parts(connection, version, "defect_by_day", ahead.by_day.parts())
    keep("new_life_curve", new_life_curve(results.model))
    keep("plan_rates", _rates(connection, results, frames))
    run(connection, f"{MARTS}/plan_sensors")
    return ahead


def _rates(
    connection: duckdb.DuckDBPyConnection, results: RiskResults, frames: RiskFrames
) -> pd.DataFrame:
    sound, condemned = one_row(
        run(connection, f"{MARTS}/tests_of_sound_sensors").execute(
            "from marts.tests_of_sound_sensors"
        )
    )
    delay = None if results.model is None else results.model.delay_
    rates = {
        "heard_per_km": (delay or assumed_delay()).rate_per_km,
        "road_share": road_share(frames.windows).mean,
        "sensitivity": results.settings["sensitivity"].mean,
        "false_alarm": FALSE_ALARM.after(float(condemned), float(sound - condemned)).mean,
    }
    return PLAN_RATES.check(pd.DataFrame([rates]))


def outlook_at_hand(connection: duckdb.DuckDBPyConnection, ahead: DefectsAhead) -> Outlook:
    """The outlook that ``read_outlook`` reads, with the chances that are at hand."""
    return outlook_ahead(
        PLAN_SENSORS.check(run(connection, "access/sql/plan_sensors").df()),
        ahead,
        run(connection, "access/sql/new_life_curve").df(),
        run(connection, "access/sql/plan_rates").df(),
    )


def read_outlook(connection: duckdb.DuckDBPyConnection) -> Outlook:
    """The outlook of all sensors, as kept in the marts.

    A home of some thousand sensors holds over a million chances by sensor, fit and day. They come
    as numbers alone, each sensor told by its place: a million names take longer than all the rest.
    """
    return outlook_of(
        PLAN_SENSORS.check(run(connection, "access/sql/plan_sensors").df()),
        run(connection, "access/sql/defect_by_km").fetchnumpy(),
        run(connection, "access/sql/defect_by_day").fetchnumpy(),
        run(connection, "access/sql/new_life_curve").df(),
        run(connection, "access/sql/plan_rates").df(),
    )


def price(
    connection: duckdb.DuckDBPyConnection, outlook: Outlook, settings: PlanSettings
) -> tuple[Weighed, pd.DataFrame]:
    """What costs least for each sensor, kept and returned."""
    weighed = weigh(outlook, settings, again=False)
    costs = cheapest(outlook, weighed, settings)
    store(connection, "cheapest", CHEAPEST.check(costs))
    return weighed, costs


def estimate_saving(
    connection: duckdb.DuckDBPyConnection,
    outlook: Outlook,
    weighed: Weighed,
    ahead: DefectsAhead,
    costs: pd.DataFrame,
    action: pd.Series,
    settings: PlanSettings,
) -> None:
    """Keep what following the advice is expected to cost, by the estimate and by each fit."""
    by_estimate = Followed(*known_costs(costs, action))
    drawn = Fits(ahead.sensor_ids, ahead.km, ahead.drawn[1:], ahead.heard_per_km[1:])
    # what a new sensor costs in the long run stays as estimated
    found = followed(outlook, weighed, asked(outlook, weighed, action, settings), drawn)
    fits = all_by_fit(found, by_estimate, work_now(outlook, weighed, action))
    totals = [(by_estimate.advised.sum(), by_estimate.nothing.sum()), *zip(*fits, strict=True)]
    rows = [
        cost_row(draw, float(following), float(nothing), len(by_estimate.nothing))
        for draw, (following, nothing) in enumerate(totals)
    ]
    store(connection, "expected_cost", EXPECTED_COST.check(pd.DataFrame(rows)))


def plan_ahead(
    connection: duckdb.DuckDBPyConnection,
    outlook: Outlook,
    weighed: Weighed,
    costs: pd.DataFrame,
    action: pd.Series,
    settings: PlanSettings,
) -> SensorNeeds:
    """Keep the work that the advice asks for and what a visit costs by day; return the needs."""
    waiting = waiting_private(outlook.sensors, action, settings)
    work = planned_work(costs, action, waiting)
    store(connection, "planned_work", work)
    store_parts(connection, "check_costs", check_costs_by_part(outlook, weighed, work, settings))
    store(connection, "plan_settings", settings_table(settings))
    return _part_need(connection, outlook, work)


def order_parts(
    connection: duckdb.DuckDBPyConnection, day: date, needs: SensorNeeds, told: SettingsFile
) -> None:
    """Keep what parts to order for these needs."""
    allowed = pd.DataFrame(list(told.transfers), columns=["from_shop", "to_shop"])
    plan_stock(
        connection,
        day,
        needs,
        transfers_allowed=TRANSFERS_ALLOWED.check(allowed),
        currency=told.settings.currency,
        **stock_settings(told.settings),
    )


def _part_need(
    connection: duckdb.DuckDBPyConnection, outlook: Outlook, work: pd.DataFrame
) -> SensorNeeds:
    """Keep the chance that each sensor asks for a part by each day ahead, and return it."""
    days, parts = outlook.days[outlook.days > 0], needs_by_part(outlook, work)
    return needs_laid_out(outlook.sensors, days, _kept(connection, outlook, parts))


def _kept(
    connection: duckdb.DuckDBPyConnection,
    outlook: Outlook,
    parts: Iterable[tuple[pd.DataFrame, np.ndarray]],
) -> Iterator[np.ndarray]:
    """The needs of some sensors at a time over the days to come, once kept."""
    ahead = outlook.days > 0
    for place, (sensors, need) in enumerate(parts):
        coming = need[..., ahead]
        rows = need_rows(sensors, outlook.days[ahead], coming)
        if place:
            store_more(connection, "part_need", [rows])
        else:
            store(connection, "part_need", rows)
        yield coming


def settings_table(settings: PlanSettings) -> pd.DataFrame:
    """One setting a row: ``name``, and ``value`` as JSON."""
    values = asdict(settings)
    told = [json.dumps(value) for value in values.values()]
    return pd.DataFrame({"name": list(values), "value": told})
