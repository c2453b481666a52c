"""A bench test entered since the last build, measured by itself at once.

Its readings stand against the good ranges as published, its sweep is measured like any other.
What rests on all tests together, such as where its track wears, waits for the build.
"""

from __future__ import annotations

from collections.abc import Mapping

import duckdb
import pandas as pd

from models.statics.cautions import next_look
from models.statics.schemas import BANDS, TRAVEL_BANDS
from models.wear.schemas import BANDS as WEAR_BANDS
from pipeline.access.bench_view import BENCH_SENSORS, checks_as_typed, sensor_as_typed
from pipeline.access.entered.pending import pending_rows
from pipeline.access.entered.pending_sweep import pending_samples
from pipeline.access.entered.standing import standing_in
from pipeline.access.entered.typed_sweep import measured
from pipeline.access.frames import view_schemas as schemas
from pipeline.access.reading import NotThereError, edition_of, read_frame, reading
from pipeline.access.scope.allowed import view
from pipeline.access.sweep_traces import thinned
from pipeline.access.views import SessionView
from pipeline.access.wear_view import WEAR_PROFILE_ROWS, TestWear
from pipeline.asker import Asker
from pipeline.home import Home
from pipeline.warehouse.wear_schemas import WEAR_STRETCHES

#: Measures of a sweep that are held against good sensors, in the order shown.
PLACED = [
    "smoothness_pct",
    "linearity_independent_pct",
    "linearity_terminal_pct",
    "hysteresis_pct",
]


@view
def pending_session_view(home: Home, asker: Asker, session_id: str) -> SessionView | None:
    """Everything a test's page shows of a test entered since the last build; None of any other.

    Raises
    ------
    NotThereError
        Its sensor is not known, so that nothing can be held against a good range.
    """
    test = pending_rows(home, asker, "test_sessions")["test_sessions"].get(session_id)
    if test is None:
        return None
    samples = pending_samples(home, asker, session_id)
    with reading(home, asker) as (manifest, connection):
        sensor = _sensor(connection, home, asker, test["sensor_id"])
        parts = {"parts": [sensor["part_no"]]}
        bands = read_frame(connection, "bands_of_parts", BANDS, parts)
        checks = checks_as_typed(sensor, bands, test)
        swept = measured(test, sensor, samples)
        measures = swept.measures.to_dict("records") if len(samples) else []
        nature = measures[0]["fault_nature"] if measures else None
        key = {"session_id": session_id, "sensor_id": test["sensor_id"]}
        return SessionView(
            edition=edition_of(home, manifest),
            session=_session(connection, home, asker, test, sensor),
            measures=measures[0] if measures else None,
            checks=checks,
            next_look=next_look(checks, fault_nature=nature),
            dropouts=swept.dropouts,
            profile=swept.profile,
            passes=swept.passes,
            findings=swept.findings,
            trace=thinned(samples.drop(columns="session_id")),
            earlier=read_frame(connection, "sensor_tests", schemas.BIKE_TESTS, key),
            set_aside=schemas.SET_ASIDE.empty(),
            places=_places(test, bands, measures),
            travel_band=_travel_band(connection, test, sensor),
            wear=TestWear(
                None, WEAR_BANDS.empty(), WEAR_PROFILE_ROWS.empty(), WEAR_STRETCHES.empty(), None
            ),
            in_records=False,
        )


def _sensor(
    connection: duckdb.DuckDBPyConnection, home: Home, asker: Asker, sensor_id: str
) -> dict:
    """One row of BENCH_SENSORS, by the contract's row of the sensor as it stands."""
    cells = standing_in(connection, home, asker, "sensors", [sensor_id]).get(sensor_id)
    if cells is None:
        raise NotThereError(f"The records hold no sensor {sensor_id}.")
    row = BENCH_SENSORS.check(pd.DataFrame([sensor_as_typed(connection, home, asker, cells)]))
    return row.to_dict("records")[0] | {"fitted_km": cells.get("fitted_km")}


def _session(
    connection: duckdb.DuckDBPyConnection,
    home: Home,
    asker: Asker,
    test: Mapping[str, str],
    sensor: dict,
) -> dict:
    """One row of SESSION as a dict."""
    unit_id = sensor["unit_id"]
    unit = standing_in(connection, home, asker, "units", [unit_id]).get(unit_id, {})
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


def _places(test: Mapping[str, str], bands: pd.DataFrame, measures: list[dict]) -> pd.DataFrame:
    """SWEEP_PLACES against the good ranges as published."""
    if test.get("sweep_channel") != "volt" or not measures:
        return schemas.SWEEP_PLACES.empty()
    known = ["reading", "high", "sensor_count", "more_needed", "method"]
    own = pd.DataFrame({"reading": PLACED, "value": [measures[0][name] for name in PLACED]})
    return schemas.SWEEP_PLACES.check(own.merge(bands[known], on="reading", how="left"))


def _travel_band(
    connection: duckdb.DuckDBPyConnection, test: Mapping[str, str], sensor: dict
) -> pd.DataFrame:
    if test.get("sweep_channel") != "volt":
        return TRAVEL_BANDS.empty()
    part = {"part_no": sensor["part_no"]}
    return read_frame(connection, "travel_band_of_part", TRAVEL_BANDS, part)
