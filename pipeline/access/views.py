"""One function a view: all that a page shows, read from one published warehouse."""

from __future__ import annotations

from dataclasses import dataclass

import duckdb
import pandas as pd

from models.statics.cautions import next_look
from pipeline.access.checks_of_test import checks_of_test
from pipeline.access.frames import view_schemas as schemas
from pipeline.access.frames.plan_schemas import ADVICE_FOLLOWED, ANSWERS_FOLLOWED
from pipeline.access.reading import (
    Edition,
    NotThereError,
    TooFewShopsError,
    edition_of,
    read_frame,
    reading,
)
from pipeline.access.scope.allowed import view
from pipeline.access.sweep_traces import thinned_trace
from pipeline.access.wear_view import BikeWear, TestWear, bike_wear, wear_at_test
from pipeline.asker import Asker
from pipeline.home import Home
from pipeline.jobs.measure import RESULTS
from pipeline.statements import run
from pipeline.warehouse.publish import newest


@dataclass(frozen=True)
class BikeView:
    """One bike's history. ``bike`` is one row of BIKE as a dict; frames as declared.

    ``sensors`` SENSOR_LIVES, ``tests`` BIKE_TESTS, ``repairs`` BIKE_REPAIRS, ``odometer``
    ODOMETER, ``readings`` BAND_READINGS, ``advice`` WORKLIST, ``set_aside`` SET_ASIDE,
    ``explained`` EXPLANATION, ``ahead`` RISK_AHEAD; ``wear`` where its tracks wear.
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
    wear: BikeWear


@dataclass(frozen=True)
class TrustView:
    """How far to trust the chances.

    ``about`` is one row of BACKTEST_ABOUT as a dict; ``skill`` BACKTEST_SKILL, ``calibration``
    BACKTEST_CALIBRATION, ``curve`` FLEET_CURVE, ``quantiles`` LIFE_QUANTILES, ``learned``
    ASSUMED_AND_LEARNED, ``over_sensitivity`` ADVICE_OVER_SENSITIVITY, ``silence`` SILENCE,
    ``followed`` ADVICE_FOLLOWED, ``answered`` ANSWERS_FOLLOWED; ``fit`` is one row of RISK_FIT as a
    dict.
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
    followed: pd.DataFrame
    answered: pd.DataFrame
    fit: dict


@dataclass(frozen=True)
class SessionView:
    """One bench test. ``session`` and ``measures`` are one row of SESSION and MEASURES as dicts.

    ``measures`` is None and the sweep's frames are empty where no sweep was handed in. ``checks``
    CHECKS, ``next_look`` sentences in order, ``dropouts`` DROPOUTS, ``profile`` PROFILE,
    ``passes`` PASSES, ``findings`` FINDINGS, ``trace`` TRACE, ``set_aside`` SET_ASIDE,
    ``earlier`` BIKE_TESTS of the same sensor, ``places`` SWEEP_PLACES and ``travel_band``
    TRAVEL_BANDS (both empty but for a volt sweep); ``wear`` where its track wears.
    ``in_records`` is False for a test entered since the last build, measured here by itself.
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
    wear: TestWear
    in_records: bool = True


def current_version(home: Home) -> int | None:
    """Number of the newest published warehouse, or None; cheap enough to ask on every run."""
    home.refuse_newer()
    found = newest(home)
    return found.version if found else None


@view
def bike_view(home: Home, asker: Asker, unit_id: str) -> BikeView:
    """Everything one bike's page shows.

    Raises
    ------
    NotThereError
        Nothing is published in this home, or the records hold no such bike.
    """
    with reading(home, asker) as (manifest, connection):
        key = {"unit_id": unit_id}
        found = read_frame(connection, "bike", schemas.BIKE, key)
        if found.empty:
            raise NotThereError(f"The records hold no bike {unit_id}.")
        return BikeView(
            edition_of(home, manifest),
            found.to_dict("records")[0],
            read_frame(connection, "bike_sensors", schemas.SENSOR_LIVES, key),
            read_frame(connection, "bike_tests", schemas.BIKE_TESTS, key),
            read_frame(connection, "bike_repairs", schemas.BIKE_REPAIRS, key),
            read_frame(connection, "bike_odometer", schemas.ODOMETER, key),
            read_frame(connection, "bike_readings", schemas.BAND_READINGS, key),
            read_frame(connection, "bike_advice", schemas.WORKLIST, key),
            read_frame(connection, "bike_set_aside", schemas.SET_ASIDE, key),
            read_frame(connection, "bike_explained", schemas.EXPLANATION, key),
            read_frame(connection, "bike_ahead", schemas.RISK_AHEAD, key),
            bike_wear(connection, unit_id),
        )


@view
def trust_view(home: Home, asker: Asker) -> TrustView:
    """Everything that says how far to trust the chances.

    Raises
    ------
    TooFewShopsError
        The asker sees some shops alone, and too few stand behind it.
    NotThereError
        Nothing is published in this home.
    """
    with reading(home, asker) as (manifest, connection):
        about = read_frame(connection, "backtest_about", schemas.BACKTEST_ABOUT)
        if about.empty:
            raise TooFewShopsError(home)
        return TrustView(
            edition_of(home, manifest),
            about.to_dict("records")[0],
            read_frame(connection, "backtest_skill", schemas.BACKTEST_SKILL),
            read_frame(connection, "backtest_calibration", schemas.BACKTEST_CALIBRATION),
            read_frame(connection, "fleet_curve", schemas.FLEET_CURVE),
            read_frame(connection, "life_quantiles", schemas.LIFE_QUANTILES),
            read_frame(connection, "assumed_and_learned", schemas.ASSUMED_AND_LEARNED),
            read_frame(connection, "advice_over_sensitivity", schemas.ADVICE_OVER_SENSITIVITY),
            read_frame(connection, "silence", schemas.SILENCE),
            read_frame(connection, "advice_followed", ADVICE_FOLLOWED),
            read_frame(connection, "answers_followed", ANSWERS_FOLLOWED),
            read_frame(connection, "risk_fit", schemas.RISK_FIT).to_dict("records")[0],
        )


@view
def session_view(home: Home, asker: Asker, session_id: str) -> SessionView:
    """Everything one test's page shows.

    Raises
    ------
    NotThereError
        Nothing is published in this home, or the records hold no such test.
    """
    with reading(home, asker) as (manifest, connection):
        key = {"session_id": session_id}
        found = run(connection, "access/sql/session", key).df()
        if found.empty:
            raise NotThereError(f"The records hold no test {session_id}.")
        session = schemas.SESSION.check(found).to_dict("records")[0]
        sweep = {name: _sweep_frame(connection, name, session_id) for name in RESULTS}
        measures = sweep.pop("measures").to_dict("records")
        checks = checks_of_test(connection, session_id)
        nature = measures[0]["fault_nature"] if measures else None
        return SessionView(
            edition=edition_of(home, manifest),
            session=session,
            measures=measures[0] if measures else None,
            checks=checks,
            next_look=next_look(checks, fault_nature=nature),
            trace=thinned_trace(home, found["samples_name"].iloc[0], session_id),
            earlier=read_frame(
                connection,
                "sensor_tests",
                schemas.BIKE_TESTS,
                {**key, "sensor_id": session["sensor_id"]},
            ),
            set_aside=read_frame(connection, "session_set_aside", schemas.SET_ASIDE, key),
            places=read_frame(connection, "session_places", schemas.SWEEP_PLACES, key),
            travel_band=read_frame(connection, "session_travel_band", schemas.TRAVEL_BANDS, key),
            wear=wear_at_test(connection, session, measures[0] if measures else None),
            **sweep,
        )


def _sweep_frame(connection: duckdb.DuckDBPyConnection, name: str, session_id: str) -> pd.DataFrame:
    found = connection.execute(
        f"from marts.sweep_{name} where session_id = ? order by all",
        [session_id],
    ).df()
    return RESULTS[name].check(found)
