"""One function a view: all that a page shows, read from one published warehouse."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import date

import duckdb
import numpy as np
import pandas as pd

from models.frames import FrameSchema
from models.statics.cautions import next_look
from models.sweeps.decimate import decimate_minmax
from pipeline.access import schemas
from pipeline.home import DEMO, Home
from pipeline.jobs.measure import RESULTS
from pipeline.statements import connect, run
from pipeline.warehouse.publish import Manifest, newest

TRACE_POINTS = 3_000


@dataclass(frozen=True)
class Edition:
    """Which records a view was read from."""

    version: int
    built_at: str
    as_of: date
    is_demo: bool
    home: str


@dataclass(frozen=True)
class WorklistView:
    """The worklist: ``rows`` WORKLIST, ``set_aside`` SET_ASIDE, ``notices`` sentences."""

    edition: Edition
    rows: pd.DataFrame
    set_aside: pd.DataFrame
    notices: list[str]
    summary: dict[str, float]


@dataclass(frozen=True)
class BikeView:
    """One bike's history. ``bike`` is one row of BIKE as a dict; frames as declared.

    ``sensors`` SENSOR_LIVES, ``tests`` BIKE_TESTS, ``repairs`` BIKE_REPAIRS, ``odometer``
    ODOMETER, ``readings`` BAND_READINGS, ``advice`` WORKLIST, ``set_aside`` SET_ASIDE,
    ``explained`` EXPLANATION, ``ahead`` RISK_AHEAD.
    """

    edition: Edition
    bike: dict
    sensors: pd.DataFrame
    tests: pd.DataFrame
    repairs: pd.DataFrame
    odometer: pd.DataFrame
    readings: pd.DataFrame
    advice: pd.DataFrame
    set_aside: pd.DataFrame
    explained: pd.DataFrame
    ahead: pd.DataFrame


@dataclass(frozen=True)
class TrustView:
    """How far to trust the chances.

    ``about`` is one row of BACKTEST_ABOUT as a dict; ``skill`` BACKTEST_SKILL, ``calibration``
    BACKTEST_CALIBRATION, ``curve`` FLEET_CURVE, ``quantiles`` LIFE_QUANTILES, ``learned``
    ASSUMED_AND_LEARNED, ``over_sensitivity`` ADVICE_OVER_SENSITIVITY, ``silence`` SILENCE.
    """

    edition: Edition
    about: dict
    skill: pd.DataFrame
    calibration: pd.DataFrame
    curve: pd.DataFrame
    quantiles: pd.DataFrame
    learned: pd.DataFrame
    over_sensitivity: pd.DataFrame
    silence: pd.DataFrame


@dataclass(frozen=True)
class SessionView:
    """One bench test. ``session`` and ``measures`` are one row of SESSION and MEASURES as dicts.

    ``measures`` is None and the sweep's frames are empty where no sweep was handed in. ``checks``
    CHECKS, ``next_look`` sentences in order, ``dropouts`` DROPOUTS, ``profile`` PROFILE,
    ``passes`` PASSES, ``findings`` FINDINGS, ``trace`` TRACE, ``set_aside`` SET_ASIDE,
    ``earlier`` BIKE_TESTS of the same sensor, ``places`` SWEEP_PLACES and ``travel_band``
    TRAVEL_BANDS (both empty but for a volt sweep).
    """

    edition: Edition
    session: dict
    measures: dict | None
    checks: pd.DataFrame
    next_look: list[str]
    dropouts: pd.DataFrame
    profile: pd.DataFrame
    passes: pd.DataFrame
    findings: pd.DataFrame
    trace: pd.DataFrame
    earlier: pd.DataFrame
    set_aside: pd.DataFrame
    places: pd.DataFrame
    travel_band: pd.DataFrame


class NotThereError(LookupError):
    """No published warehouse, or no such bike or test in it; the message says which."""


def current_version(home: Home) -> int | None:
    """Number of the newest published warehouse, or None; cheap enough to ask on every run."""
    found = newest(home)
    return found.version if found else None


def worklist_view(home: Home) -> WorklistView:
    """Everything the worklist shows.

    Raises
    ------
    NotThereError
        Nothing is published in this home.
    """
    with _reading(home) as (manifest, connection):
        (summary,) = run(connection, "access/sql/summary").df().to_dict("records")
        return WorklistView(
            _edition(home, manifest),
            _frame(connection, "worklist_rows", schemas.WORKLIST),
            _frame(connection, "set_aside", schemas.SET_ASIDE),
            run(connection, "access/sql/notices").df()["notice"].tolist(),
            summary,
        )


def bike_view(home: Home, unit_id: str) -> BikeView:
    """Everything one bike's page shows.

    Raises
    ------
    NotThereError
        Nothing is published in this home, or the records hold no such bike.
    """
    with _reading(home) as (manifest, connection):
        key = {"unit_id": unit_id}
        found = _frame(connection, "bike", schemas.BIKE, key)
        if found.empty:
            raise NotThereError(f"The records hold no bike {unit_id}.")
        return BikeView(
            _edition(home, manifest),
            found.to_dict("records")[0],
            _frame(connection, "bike_sensors", schemas.SENSOR_LIVES, key),
            _frame(connection, "bike_tests", schemas.BIKE_TESTS, key),
            _frame(connection, "bike_repairs", schemas.BIKE_REPAIRS, key),
            _frame(connection, "bike_odometer", schemas.ODOMETER, key),
            _frame(connection, "bike_readings", schemas.BAND_READINGS, key),
            _frame(connection, "bike_advice", schemas.WORKLIST, key),
            _frame(connection, "bike_set_aside", schemas.SET_ASIDE, key),
            _frame(connection, "bike_explained", schemas.EXPLANATION, key),
            _frame(connection, "bike_ahead", schemas.RISK_AHEAD, key),
        )


def trust_view(home: Home) -> TrustView:
    """Everything that says how far to trust the chances.

    Raises
    ------
    NotThereError
        Nothing is published in this home.
    """
    with _reading(home) as (manifest, connection):
        (about,) = _frame(connection, "backtest_about", schemas.BACKTEST_ABOUT).to_dict("records")
        return TrustView(
            _edition(home, manifest),
            about,
            _frame(connection, "backtest_skill", schemas.BACKTEST_SKILL),
            _frame(connection, "backtest_calibration", schemas.BACKTEST_CALIBRATION),
            _frame(connection, "fleet_curve", schemas.FLEET_CURVE),
            _frame(connection, "life_quantiles", schemas.LIFE_QUANTILES),
            _frame(connection, "assumed_and_learned", schemas.ASSUMED_AND_LEARNED),
            _frame(connection, "advice_over_sensitivity", schemas.ADVICE_OVER_SENSITIVITY),
            _frame(connection, "silence", schemas.SILENCE),
        )


def session_view(home: Home, session_id: str) -> SessionView:
    """Everything one test's page shows.

    Raises
    ------
    NotThereError
        Nothing is published in this home, or the records hold no such test.
    """
    with _reading(home) as (manifest, connection):
        key = {"session_id": session_id}
        found = run(connection, "access/sql/session", key).df()
        if found.empty:
            raise NotThereError(f"The records hold no test {session_id}.")
        session = schemas.SESSION.check(found).to_dict("records")[0]
        sweep = {name: _sweep_frame(connection, name, session_id) for name in RESULTS}
        measures = sweep.pop("measures").to_dict("records")
        checks = _frame(connection, "session_checks", schemas.CHECKS, key)
        nature = measures[0]["fault_nature"] if measures else None
        return SessionView(
            edition=_edition(home, manifest),
            session=session,
            measures=measures[0] if measures else None,
            checks=checks,
            next_look=next_look(checks, fault_nature=nature),
            trace=_trace(connection, home, found["samples_name"].iloc[0], session_id),
            earlier=_frame(
                connection,
                "sensor_tests",
                schemas.BIKE_TESTS,
                {**key, "sensor_id": session["sensor_id"]},
            ),
            set_aside=_frame(connection, "session_set_aside", schemas.SET_ASIDE, key),
            places=_frame(connection, "session_places", schemas.SWEEP_PLACES, key),
            travel_band=_frame(connection, "session_travel_band", schemas.TRAVEL_BANDS, key),
            **sweep,
        )


@contextmanager
def _reading(home: Home) -> Iterator[tuple[Manifest, duckdb.DuckDBPyConnection]]:
    """The newest version, opened for this one reading; a version tidied away is looked up anew."""
    try:
        manifest, connection = _open_newest(home)
    except duckdb.Error:
        manifest, connection = _open_newest(home)
    try:
        yield manifest, connection
    finally:
        connection.close()


def _open_newest(home: Home) -> tuple[Manifest, duckdb.DuckDBPyConnection]:
    manifest = newest(home)
    if manifest is None:
        raise NotThereError("No records are published yet.")
    if not manifest.is_current:
        raise NotThereError(
            "These records were published by another version of Wear Atlas. Start the dashboard "
            "again, or run: python3 -m pipeline rebuild"
        )
    return manifest, connect(manifest.path, read_only=True)


def _edition(home: Home, manifest: Manifest) -> Edition:
    return Edition(
        manifest.version,
        manifest.built_at,
        date.fromisoformat(manifest.as_of),
        manifest.kind == DEMO,
        str(home.root),
    )


def _frame(
    connection: duckdb.DuckDBPyConnection,
    name: str,
    schema: FrameSchema,
    parameters: dict | None = None,
) -> pd.DataFrame:
    return schema.check(run(connection, f"access/sql/{name}", parameters).df())


def _sweep_frame(connection: duckdb.DuckDBPyConnection, name: str, session_id: str) -> pd.DataFrame:
    found = connection.execute(
        f"from marts.sweep_{name} where session_id = ? order by all",
        [session_id],
    ).df()
    return RESULTS[name].check(found)


def _trace(
    connection: duckdb.DuckDBPyConnection, home: Home, samples_name: object, session_id: str
) -> pd.DataFrame:
    """The sweep's samples, thinned so that every extreme is still drawn."""
    if not isinstance(samples_name, str) or not (home.sweeps / samples_name).exists():
        return schemas.TRACE.empty()
    samples = run(
        connection,
        "warehouse/sql/samples_of_sessions",
        {"path": str(home.sweeps / samples_name), "sessions": [session_id]},
    ).df()
    t_s = samples["t_s"].to_numpy()
    kept = decimate_minmax(t_s, samples["signal"].to_numpy(), TRACE_POINTS)
    if samples["signal_b"].notna().any():
        second = decimate_minmax(t_s, samples["signal_b"].to_numpy(), TRACE_POINTS)
        kept = np.union1d(kept, second)
    return schemas.TRACE.check(samples.iloc[kept].reset_index(drop=True))
