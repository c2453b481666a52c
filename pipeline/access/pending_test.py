"""A bench test entered since the last build, measured by itself at once.

Its readings stand against the good ranges as published, its sweep is measured like any other.
What rests on all tests together, such as where its track wears, waits for the build.
"""

from __future__ import annotations

from collections.abc import Mapping

import duckdb
import numpy as np
import pandas as pd

from models.statics.cautions import next_look
from models.statics.schemas import BANDS, TRAVEL_BANDS
from models.sweeps.decimate import decimate_minmax
from models.sweeps.measure import SweepResults, measure_sweeps
from models.sweeps.schemas import CONTEXTS, SAMPLES
from models.wear.schemas import BANDS as WEAR_BANDS
from pipeline.access import schemas
from pipeline.access.bench_view import BENCH_SENSORS, checks_as_typed, sensor_as_typed
from pipeline.access.pending import pending_files, pending_rows
from pipeline.access.reading import NotThereError, edition_of, read_frame, reading
from pipeline.access.standing import standing_in
from pipeline.access.views import TRACE_POINTS, SessionView
from pipeline.access.wear_view import WEAR_PROFILE_ROWS, TestWear
from pipeline.home import Home
from pipeline.intake.contract import table_of
from pipeline.intake.read_sweeps import samples_into
from pipeline.intake.receive import HandedFile
from pipeline.statements import connect, run
from pipeline.warehouse.wear_schemas import WEAR_STRETCHES

#: Larger files of sweeps hold more than a test just made: they wait for the build.
LARGEST_SWEEP = 50_000_000


def pending_session_view(home: Home, session_id: str) -> SessionView | None:
    """Everything a test's page shows of a test entered since the last build; None of any other.

    Raises
    ------
    NotThereError
        Its sensor is not known, so that nothing can be held against a good range.
    """
    test = pending_rows(home, "test_sessions")["test_sessions"].get(session_id)
    if test is None:
        return None
    samples = _samples(home, session_id)
    with reading(home) as (manifest, connection):
        sensor = _sensor(connection, home, test["sensor_id"])
        parts = {"parts": [sensor["part_no"]]}
        bands = read_frame(connection, "bands_of_parts", BANDS, parts)
        checks = checks_as_typed(sensor, bands, test)
        swept = _measured(test, sensor, samples)
        measures = swept.measures.to_dict("records") if len(samples) else []
        nature = measures[0]["fault_nature"] if measures else None
        key = {"session_id": session_id, "sensor_id": test["sensor_id"]}
        return SessionView(
            edition=edition_of(home, manifest),
            session=_session(connection, home, test, sensor),
            measures=measures[0] if measures else None,
            checks=checks,
            next_look=next_look(checks, fault_nature=nature),
            dropouts=swept.dropouts,
            profile=swept.profile,
            passes=swept.passes,
            findings=swept.findings,
            trace=_trace(samples),
            earlier=read_frame(connection, "sensor_tests", schemas.BIKE_TESTS, key),
            set_aside=schemas.SET_ASIDE.empty(),
            places=schemas.SWEEP_PLACES.empty(),
            travel_band=_travel_band(connection, test, sensor),
            wear=TestWear(
                None, WEAR_BANDS.empty(), WEAR_PROFILE_ROWS.empty(), WEAR_STRETCHES.empty(), None
            ),
            in_records=False,
        )


def _sensor(connection: duckdb.DuckDBPyConnection, home: Home, sensor_id: str) -> dict:
    """One row of BENCH_SENSORS, by the contract's row of the sensor as it stands."""
    cells = standing_in(connection, home, "sensors", [sensor_id]).get(sensor_id)
    if cells is None:
        raise NotThereError(f"The records hold no sensor {sensor_id}.")
    row = BENCH_SENSORS.check(pd.DataFrame([sensor_as_typed(connection, home, cells)]))
    return row.to_dict("records")[0] | {"fitted_km": cells.get("fitted_km")}


def _session(
    connection: duckdb.DuckDBPyConnection, home: Home, test: Mapping[str, str], sensor: dict
) -> dict:
    """One row of SESSION as a dict."""
    unit_id = sensor["unit_id"]
    unit = standing_in(connection, home, "units", [unit_id]).get(unit_id, {})
    odometer_km, fitted_km = float(test["odometer_km"]), sensor.pop("fitted_km")
    row = {name: test.get(name) for name in schemas.SESSION.names} | {
        "unit_id": unit_id,
        "label": unit.get("label") or unit_id,
        "model_code": unit.get("model_code") or "",
        **{name: sensor[name] for name in ("mount", "part_no", "kind", "output")},
        "odometer_km": odometer_km,
        "sensor_age_km": odometer_km - float(fitted_km) if fitted_km else None,
    }
    return schemas.SESSION.check(pd.DataFrame([row])).to_dict("records")[0]


def _samples(home: Home, session_id: str) -> pd.DataFrame:
    """SAMPLES of the last sweep entered for the test; empty without one."""
    files = [file for file in pending_files(home) if _holds_sweeps(file)]
    connection = connect()
    try:
        for file in reversed(files):
            samples_into(connection, file)
            found = run(connection, "access/sql/samples_as_typed", {"session_id": session_id}).df()
            if len(found):
                return SAMPLES.check(found)
    finally:
        connection.close()
    return SAMPLES.empty()


def _holds_sweeps(file: HandedFile) -> bool:
    table = table_of(file.name)
    if file.trouble or table is None or table.name != "sweeps" or not file.path.exists():
        return False
    return file.path.stat().st_size <= LARGEST_SWEEP


def _measured(test: Mapping[str, str], sensor: dict, samples: pd.DataFrame) -> SweepResults:
    known = {name: test.get(name) or sensor.get(name) for name in CONTEXTS.names}
    context = pd.DataFrame([known], dtype=object)
    return measure_sweeps(samples, CONTEXTS.check(context))


def _trace(samples: pd.DataFrame) -> pd.DataFrame:
    if samples.empty:
        return schemas.TRACE.empty()
    t_s = samples["t_s"].to_numpy()
    kept = decimate_minmax(t_s, samples["signal"].to_numpy(), TRACE_POINTS)
    if samples["signal_b"].notna().any():
        kept = np.union1d(kept, decimate_minmax(t_s, samples["signal_b"].to_numpy(), TRACE_POINTS))
    return schemas.TRACE.check(samples.iloc[kept].reset_index(drop=True))


def _travel_band(
    connection: duckdb.DuckDBPyConnection, test: Mapping[str, str], sensor: dict
) -> pd.DataFrame:
    if test.get("sweep_channel") != "volt":
        return TRAVEL_BANDS.empty()
    part = {"part_no": sensor["part_no"]}
    return read_frame(connection, "travel_band_of_part", TRAVEL_BANDS, part)
