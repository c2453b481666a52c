"""Fit the risk model to the record, and keep its chances, its curve and what they rest on."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import asdict, is_dataclass
from datetime import date
from functools import partial
from pathlib import Path

import duckdb
import pandas as pd

from models.plans.advice import advise
from models.plans.lot import drawn_by_lot
from models.plans.schemas import EVIDENCE
from models.plans.settings import PlanSettings
from models.risk.ahead import risk_ahead_parts, road_share
from models.risk.explain import explain_risk
from models.risk.life_quantiles import LIFE_QUANTILES, life_quantiles
from models.risk.odometer_rate import RIDING_RATES, Riding, riding_of
from models.risk.outlook import DefectsAhead
from models.risk.score import RiskResults, fit_and_score
from models.stock.needs import SensorNeeds
from pipeline.intake.settings.settings_file import SettingsFile
from pipeline.jobs.progress import LongWork
from pipeline.statements import one_row, run, store, store_selected
from pipeline.warehouse.assumed_and_learned import assumed_and_learned
from pipeline.warehouse.fitted import Fit, standing_fit, test_history
from pipeline.warehouse.held_memory import let_go
from pipeline.warehouse.kept_fit import made_once
from pipeline.warehouse.kept_spreads import remembered
from pipeline.warehouse.lives import MARTS, RiskFrames, risk_frames
from pipeline.warehouse.odometers import odometers
from pipeline.warehouse.over_sensitivity import OVER_VERSION, advice_over_sensitivity
from pipeline.warehouse.plans import (
    estimate_saving,
    look_out,
    order_parts,
    outlook_at_hand,
    plan_ahead,
    price,
)
from pipeline.warehouse.risk_fit import store_fitted, store_fitted_parts, told_of_fit
from pipeline.warehouse.shape import current_shape

#: Sensors whose lines of the worklist, with all their words, are put together at a time.
_SENSORS_AT_ONCE = 30_000


def score_risk(
    connection: duckdb.DuckDBPyConnection,
    day: date,
    kept_models: Path,
    told: SettingsFile,
    work: LongWork | None = None,
) -> Fit:
    """Chances now and ahead, the fleet's curve, and the advice that follows from them.

    Models are kept in the folder ``kept_models`` and fitted anew once the evidence has moved far
    enough. Returns the fit that all of it was scored with; every row of it names that.
    """
    work = work or LongWork()
    frames = risk_frames(connection, day)
    run(connection, f"{MARTS}/test_history")
    tests = partial(test_history, connection)  # many rows, which a fit that stands does not need
    let_go(connection)
    fit = standing_fit(kept_models, frames, tests, day, work.say)
    keep = partial(store_fitted, connection, fit.version)
    keep("sensitivity_evidence", fit.believed.evidence)
    remember = remembered(kept_models, fit.version, work)
    let_go(connection)
    results = fit_and_score(
        frames.windows,
        frames.sensors_now,
        followed_up=frames.followed_up,
        contact_gaps=frames.contact_gaps,
        wear_readings=frames.wear_readings,
        sensitivity=fit.believed.posterior,
        fitted=fit.models,
        remember=remember,
    )
    keep("defect_risk", results.defect_risk)
    keep("fleet_curve", results.fleet_curve)
    keep("life_quantiles", _quantiles(results, frames))
    explained = explain_risk(results, frames.sensors_now, remember=remember)
    keep("risk_explained", explained.assign(place=range(len(explained))))
    summary = pd.DataFrame([{"summary": json.dumps(results.summary, default=_plain)}])
    keep("risk_summary", summary)
    keep("assumed_and_learned", assumed_and_learned(results, frames.followed_up))
    store(connection, "risk_fit", told_of_fit(fit, frames))
    riding = _look_ahead(connection, day, fit.version, results, frames)
    let_go(connection)
    ahead = look_out(connection, fit.version, results, frames, riding, remember)
    sensors = frames.sensors_now
    del frames, riding  # what plans rest on is in the marts; the rest only takes memory
    needs = _advise(connection, day, told, kept_models, fit.version, results, sensors, ahead, work)
    del results, sensors, ahead  # of many sensors they fill half a gigabyte
    let_go(connection)
    order_parts(connection, day, needs, told)
    return fit


def _advise(
    connection: duckdb.DuckDBPyConnection,
    day: date,
    told: SettingsFile,
    kept_models: Path,
    version: str,
    results: RiskResults,
    sensors: pd.DataFrame,
    ahead: DefectsAhead,
    work: LongWork,
) -> SensorNeeds:
    """What costs least, what to do about each sensor, and what parts that will ask for."""
    settings, outlook = told.settings, outlook_at_hand(connection, ahead)
    let_go(connection)
    weighed, costs = price(connection, outlook, settings)
    evidence = _evidence(connection, day)
    let_go(connection)
    by_lot = _lot(connection, evidence, day, settings)
    action = _keep_advice(connection, day, version, evidence, costs, settings, by_lot)
    how = {"as_taken": action, "by_lot": by_lot, "work": work}
    over = partial(advice_over_sensitivity, results, sensors, evidence, outlook, settings, **how)
    _keep_over_sensitivity(connection, kept_models, version, settings, over, work)
    del evidence, over
    let_go(connection)
    estimate_saving(connection, outlook, weighed, ahead, costs, action, settings)
    let_go(connection)
    return plan_ahead(connection, outlook, weighed, costs, action, settings)


def _keep_advice(
    connection: duckdb.DuckDBPyConnection,
    day: date,
    version: str,
    evidence: pd.DataFrame,
    costs: pd.DataFrame,
    settings: PlanSettings,
    by_lot: frozenset[str],
) -> pd.Series:
    """Keep what is advised, and the worklist of it; return each sensor's action.

    Before anything is weighed again, which leaves less room for so many words.
    """
    advice = advise(evidence, costs, settings, by_lot=by_lot, day=day)
    store_fitted(connection, version, "advice", advice)
    action = advice.set_index("sensor_id")["action"]
    del advice  # its words are in the marts
    let_go(connection)
    run(connection, f"{MARTS}/advice_answers", {"as_of": day})
    parts = len(evidence) // _SENSORS_AT_ONCE + 1
    told = {"floor": settings.test_above}
    store_selected(connection, "marts.worklist", f"{MARTS}/worklist", told, parts=parts)
    let_go(connection)
    return action


def _keep_over_sensitivity(
    connection: duckdb.DuckDBPyConnection,
    kept_models: Path,
    version: str,
    settings: PlanSettings,
    over: Callable[[], pd.DataFrame],
    work: LongWork,
) -> None:
    """Keep what would be advised over the test's sensitivity, which one fit and settings decide."""
    rests_on = f"{version}/{current_shape()}/{OVER_VERSION}/{settings!r}"
    made = made_once(
        kept_models, "over_sensitivity", rests_on, lambda: {"advice": over()}, work.say
    )
    store_fitted(connection, version, "advice_over_sensitivity", made["advice"])


def _lot(
    connection: duckdb.DuckDBPyConnection,
    evidence: pd.DataFrame,
    day: date,
    settings: PlanSettings,
) -> frozenset[str]:
    """Keep and return the sensors that are tested though they may be left."""
    seen = evidence["sensor_id"], evidence["last_tested_on"]
    lot = drawn_by_lot(*seen, day, settings.lot_share)
    store(connection, "drawn_by_lot", pd.DataFrame({"sensor_id": sorted(lot)}, dtype="str"))
    return lot


def _quantiles(results: RiskResults, frames: RiskFrames) -> pd.DataFrame:
    """B10 and B50 life, where any life was observed."""
    if results.model is None:
        return LIFE_QUANTILES.empty()
    return life_quantiles(results.model, frames.windows)


def _look_ahead(
    connection: duckdb.DuckDBPyConnection,
    day: date,
    version: str,
    results: RiskResults,
    frames: RiskFrames,
) -> Riding | None:
    """Chance of a defect and of a road failure by km and by date, at each bike's own km a day.

    Returns the bikes' riding, None where no odometer has been read.
    """
    riding = _riding(connection, day)
    rates = RIDING_RATES.empty() if riding is None else riding.rates
    store(connection, "riding_rates", rates)
    ahead = risk_ahead_parts(
        results.model,
        frames.sensors_now,
        riding=riding,
        share=road_share(frames.windows),
        estimates=results.estimates,
        **results.settings,
    )
    store_fitted_parts(connection, version, "risk_ahead", ahead)
    return riding


def _riding(connection: duckdb.DuckDBPyConnection, day: date) -> Riding | None:
    run(connection, f"{MARTS}/odometer_readings")
    (count,) = one_row(connection.execute("select count(*) from marts.odometer_readings"))
    return riding_of(odometers(connection), day) if count else None


def _evidence(connection: duckdb.DuckDBPyConnection, day: date) -> pd.DataFrame:
    """All that the advice rests on, by sensor in service."""
    for name in ("any_tests", "any_sensors", "waiting"):
        run(connection, f"{MARTS}/{name}")
    run(connection, f"{MARTS}/evidence", {"as_of": day})
    return EVIDENCE.check(connection.execute("from marts.evidence order by sensor_id").df())


def _plain(value: object) -> object:
    if is_dataclass(value) and not isinstance(value, type):
        return asdict(value)
    if isinstance(value, pd.DataFrame):
        return value.to_dict("records")
    return float(value)  # type: ignore[arg-type]
