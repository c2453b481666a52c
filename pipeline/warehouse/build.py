"""Build a warehouse from everything handed in, and publish it."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import asdict, is_dataclass
from datetime import UTC, date, datetime

import duckdb
import pandas as pd

from models.plans.advice import advise
from models.plans.schemas import EVIDENCE
from models.risk.explain import explain_risk
from models.risk.score import fit_and_score
from pipeline.home import Home
from pipeline.intake.contract import TABLES
from pipeline.intake.settle import read_all, settle
from pipeline.jobs.backtest import backtest
from pipeline.jobs.measure import measure_missing
from pipeline.statements import ROOT, connect, run, statement, store
from pipeline.warehouse.lives import MARTS, follow_lives, risk_frames, stage_bikes
from pipeline.warehouse.publish import Manifest, draft_path, publish
from pipeline.warehouse.statics import judge_statics

_STAGED = [name for name in TABLES if name != "retract"]


def build(
    home: Home,
    *,
    as_of: date | None = None,
    progress: bool = False,
    say: Callable[[str], None] = lambda text: None,
) -> Manifest:
    """Rebuild everything from the handed-in files and publish it as a new version.

    The caller holds the home (:meth:`Home.one_builder`). ``as_of`` is the day up to which
    odometers are carried forward: today, unless the home says otherwise.
    """
    day = as_of or home.as_of or datetime.now(UTC).date()
    draft = draft_path(home)
    connection = connect(draft)
    try:
        say("Reading and checking what was handed in")
        settle(connection, home, read_all(connection, home))
        _stage(connection, day)
        measure_missing(connection, home, progress=progress)
        follow_lives(connection)
        say("Checking readings and learning good ranges")
        judge_statics(connection)
        say("Estimating risk")
        _score(connection, day)
        backtest(connection, day, say=say)
        _note(connection, day)
        connection.execute("checkpoint")
    finally:
        connection.close()
    built_at = datetime.now(UTC).isoformat(timespec="seconds")
    return publish(home, draft, built_at=built_at, as_of=day.isoformat(), kind=home.kind or "own")


def _stage(connection: duckdb.DuckDBPyConnection, day: date) -> None:
    connection.execute("create schema staging")
    connection.execute("create schema marts")
    for name in _STAGED:
        run(connection, f"warehouse/sql/staging/{name}")
    stage_bikes(connection, day)


def _score(connection: duckdb.DuckDBPyConnection, day: date) -> None:
    frames = risk_frames(connection, day)
    results = fit_and_score(
        frames.windows,
        frames.sensors_now,
        followed_up=frames.followed_up,
        contact_gaps=frames.contact_gaps,
        wear_readings=frames.wear_readings,
    )
    store(connection, "defect_risk", results.defect_risk)
    store(connection, "fleet_curve", results.fleet_curve)
    explained = explain_risk(results, frames.sensors_now)
    store(connection, "risk_explained", explained.assign(place=range(len(explained))))
    summary = pd.DataFrame([{"summary": json.dumps(results.summary, default=_plain)}])
    store(connection, "risk_summary", summary)
    for name in ("any_sensors", "any_tests", "waiting"):
        run(connection, f"{MARTS}/{name}")
    run(connection, f"{MARTS}/evidence", {"as_of": day})
    evidence = connection.execute("from marts.evidence order by sensor_id").df()
    store(connection, "advice", advise(EVIDENCE.check(evidence)))
    run(connection, f"{MARTS}/worklist")


def _note(connection: duckdb.DuckDBPyConnection, day: date) -> None:
    """Collect what is odd in the records though no rule of the contract forbids it."""
    connection.execute(
        "create table marts.notices (notice_no integer, kind varchar, notice varchar)"
    )
    number = 0
    for path in sorted((ROOT / "warehouse/sql/notices").glob("*.sql")):
        name = f"warehouse/sql/notices/{path.stem}"
        parameters = {"as_of": day} if "$as_of" in statement(name) else None
        for (notice,) in run(connection, name, parameters).fetchall():
            number += 1
            connection.execute(
                "insert into marts.notices values (?, ?, ?)", [number, path.stem, notice]
            )


def _plain(value: object) -> object:
    if is_dataclass(value) and not isinstance(value, type):
        return asdict(value)
    return float(value)  # type: ignore[arg-type]
