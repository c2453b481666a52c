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
from models.risk.schemas import CONTACT_GAPS, FOLLOWED_UP, LIFE_WINDOWS, SENSORS_NOW
from models.risk.score import fit_and_score
from models.statics.bands import learn_bands, one_value_a_sensor, reading_values, with_maker_limits
from models.statics.checks import check_readings
from models.statics.schemas import GOOD_PROFILES, GOOD_READINGS, READINGS
from models.statics.travel_band import learn_travel_bands
from pipeline.home import Home
from pipeline.intake.contract import TABLES
from pipeline.intake.settle import read_all, settle
from pipeline.jobs.measure import measure_missing
from pipeline.statements import ROOT, connect, run, statement
from pipeline.warehouse.publish import Manifest, draft_path, publish

MARTS = "warehouse/sql/marts"
PROVEN_KM = 5_000.0
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
        _follow_lives(connection)
        say("Checking readings and learning good ranges")
        _judge_statics(connection)
        say("Estimating risk")
        _score(connection, day)
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
    run(connection, f"{MARTS}/readings", {"as_of": day})
    run(connection, f"{MARTS}/bikes", {"as_of": day})
    run(connection, f"{MARTS}/sensor_lives")


def _follow_lives(connection: duckdb.DuckDBPyConnection) -> None:
    """From tests, measured sweeps and repairs to each sensor's lives and what ended them."""
    lives = ("tests", "defects", "repairs", "sensor_spans", "contacts", "life_windows")
    for name in (*lives, "last_tests"):
        run(connection, f"{MARTS}/{name}")


def _judge_statics(connection: duckdb.DuckDBPyConnection) -> None:
    """Learn good ranges from sensors later shown sound, and hold every reading against them."""
    run(connection, f"{MARTS}/static_readings")
    run(connection, f"{MARTS}/good_tests", {"proven_km": PROVEN_KM})
    readings = READINGS.check(connection.execute("from marts.static_readings").df())
    good = {
        row[0] for row in connection.execute("select session_id from marts.good_tests").fetchall()
    }
    values = reading_values(readings)
    families, kinds = _families(connection), _kinds(connection)
    static = one_value_a_sensor(values[values["session_id"].isin(good)])
    swept = run(connection, f"{MARTS}/good_sweep_readings").df()
    bands = learn_bands(
        pd.concat([static, GOOD_READINGS.check(swept)]), families=families, kinds=kinds
    )
    profiles = GOOD_PROFILES.check(run(connection, f"{MARTS}/good_profiles").df())
    _store(connection, "travel_bands", learn_travel_bands(profiles, families=families, kinds=kinds))
    _store(connection, "reading_values", values)
    _store(connection, "bands", with_maker_limits(bands, readings))
    _store(connection, "checks", check_readings(readings, bands))


def _families(connection: duckdb.DuckDBPyConnection) -> dict[str, str]:
    """Part number to the last number of its line of replacements."""
    rows = connection.execute(
        "select part_no, replaced_by from staging.parts where replaced_by is not null"
    ).fetchall()
    newer = dict(rows)
    families = {}
    for part_no in {*newer, *newer.values()}:
        last, seen = part_no, {part_no}
        while last in newer and newer[last] not in seen:
            last = newer[last]
            seen.add(last)
        families[part_no] = last
    return families


def _kinds(connection: duckdb.DuckDBPyConnection) -> dict[str, str]:
    """Part number to kind and number of tracks, where both are known."""
    return dict(
        connection.execute(
            "select part_no, concat_ws(' ', kind, tracks) from staging.parts where kind is not null"
        ).fetchall()
    )


def _score(connection: duckdb.DuckDBPyConnection, day: date) -> None:
    run(connection, f"{MARTS}/sensors_now")
    run(connection, f"{MARTS}/followed_up")
    run(connection, f"{MARTS}/contact_gaps", {"as_of": day})
    now = connection.execute("from marts.sensors_now order by sensor_id").df()
    worn = SENSORS_NOW.check(now[~now["kind"].eq("contactless")].reset_index(drop=True))
    results = fit_and_score(
        LIFE_WINDOWS.check(connection.execute("from marts.life_windows order by life_id").df()),
        worn,
        followed_up=FOLLOWED_UP.check(connection.execute("from marts.followed_up").df()),
        contact_gaps=CONTACT_GAPS.check(connection.execute("from marts.contact_gaps").df()),
    )
    _store(connection, "defect_risk", results.defect_risk)
    _store(connection, "fleet_curve", results.fleet_curve)
    explained = explain_risk(results, worn)
    _store(connection, "risk_explained", explained.assign(place=range(len(explained))))
    summary = pd.DataFrame([{"summary": json.dumps(results.summary, default=_plain)}])
    _store(connection, "risk_summary", summary)
    for name in ("any_sensors", "any_tests", "waiting"):
        run(connection, f"{MARTS}/{name}")
    run(connection, f"{MARTS}/evidence", {"as_of": day})
    evidence = connection.execute("from marts.evidence order by sensor_id").df()
    _store(connection, "advice", advise(EVIDENCE.check(evidence)))
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


def _store(connection: duckdb.DuckDBPyConnection, name: str, frame: pd.DataFrame) -> None:
    connection.register("stored_frame", frame)
    connection.execute(f"create table marts.{name} as from stored_frame")
    connection.unregister("stored_frame")


def _plain(value: object) -> object:
    if is_dataclass(value) and not isinstance(value, type):
        return asdict(value)
    return float(value)  # type: ignore[arg-type]
