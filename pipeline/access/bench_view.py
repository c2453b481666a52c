"""What the bench needs: finding a bike, its sensors with their good ranges, and checks as typed."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import duckdb
import pandas as pd

from models.frames import Column, FrameSchema
from models.statics.checks import check_readings
from models.statics.schemas import BANDS, CHECKS, READINGS
from pipeline.access.entered.pending import pending_rows
from pipeline.access.entered.standing import standing_in
from pipeline.access.frames import view_schemas as schemas
from pipeline.access.reading import Edition, NotThereError, edition_of, read_frame, reading
from pipeline.access.scope.allowed import view
from pipeline.access.wear_view import BikeWear, bike_wear
from pipeline.asker import Asker
from pipeline.home import Home
from pipeline.lately import Lately

BIKES_FOUND = 20

BENCH_SENSORS = FrameSchema(
    "bench_sensors",
    "one sensor on the bike now, with what its part number says of its readings",
    (
        Column("sensor_id", "text", "the sensor"),
        Column("unit_id", "text", "the bike"),
        Column("mount", "text", "where on the bike"),
        Column("part_no", "text", "part number"),
        Column("part_description", "text", "what it is", blank=True),
        Column("kind", "text", "potentiometer or contactless", blank=True),
        Column("tracks", "whole", "tracks in the housing", blank=True),
        Column("output", "text", "rising or falling with opening", blank=True),
        Column("supply_nominal_v", "number", "the part's nominal supply", "V", True),
        Column("maker_closed_v_low", "number", "maker's limit", "V", True),
        Column("maker_closed_v_high", "number", "maker's limit", "V", True),
        Column("maker_open_v_low", "number", "maker's limit", "V", True),
        Column("maker_open_v_high", "number", "maker's limit", "V", True),
    ),
)
FOUND_BIKES = FrameSchema(
    "found_bikes",
    "one bike whose id, plate or model holds the text asked for",
    (
        Column("unit_id", "text", "the bike"),
        Column("label", "text", "plate or fleet number; the id where there is none"),
        Column("model_code", "text", "model"),
        Column("shop_id", "text", "its shop"),
        Column("out_of_service_on", "date", "out of service since", blank=True),
    ),
)
_PART_CELLS = BENCH_SENSORS.names[5:]


@dataclass(frozen=True)
class BenchView:
    """What the bench shows of one bike.

    ``unit`` is the contract row of the bike as it stands, ``sensors`` BENCH_SENSORS, ``advice``
    WORKLIST, ``bands`` BANDS of their part numbers, ``wear`` where their tracks wear.
    ``in_records`` says whether the published records hold the bike, or it was typed since.
    """

    edition: Edition
    unit: dict[str, str]
    in_records: bool
    sensors: pd.DataFrame
    advice: pd.DataFrame
    bands: pd.DataFrame
    wear: BikeWear
    odometer_km: float | None


@view
def find_bikes(home: Home, asker: Asker, text: str) -> pd.DataFrame:
    """FOUND_BIKES: at most one more than ``BIKES_FOUND``; none for an empty text.

    Raises
    ------
    NotThereError
        Nothing is published in this home.
    """
    sought = text.strip()
    if not sought:
        return FOUND_BIKES.empty()
    with reading(home, asker) as (_, connection):
        found = read_frame(connection, "found_bikes", FOUND_BIKES, {"text": sought})
    typed = [
        _found_bike(cells)
        for unit_id, cells in pending_rows(home, asker, "units")["units"].items()
        if unit_id not in set(found["unit_id"])
        and any(sought.lower() in str(cells.get(n) or "").lower() for n in _SOUGHT)
    ]
    if not typed:
        return found
    return FOUND_BIKES.check(pd.concat([pd.DataFrame(typed), found], ignore_index=True))


_SOUGHT = ("unit_id", "label", "model_code")


def _found_bike(cells: Mapping[str, str]) -> dict:
    label = cells.get("label") or cells["unit_id"]
    return {name: cells.get(name) for name in FOUND_BIKES.names} | {"label": label}


@view
def bench_view(home: Home, asker: Asker, unit_id: str) -> BenchView:
    """Everything the bench shows of one bike, entered a minute ago or published long since.

    Raises
    ------
    NotThereError
        Nothing is published in this home, or no bike of this number was ever entered.
    """
    with reading(home, asker) as (manifest, connection):
        key = {"unit_id": unit_id}
        unit = standing_in(connection, home, asker, "units", [unit_id]).get(unit_id)
        if unit is None:
            raise NotThereError(f"The records hold no bike {unit_id}.")
        published = read_frame(connection, "bike", schemas.BIKE, key)
        sensors = sensors_on_bike(connection, home, asker, unit_id)
        parts = {"parts": sensors["part_no"].unique().tolist()}
        return BenchView(
            edition_of(home, manifest),
            unit,
            not published.empty,
            sensors,
            read_frame(connection, "bike_advice", schemas.WORKLIST, key),
            read_frame(connection, "bands_of_parts", BANDS, parts),
            bike_wear(connection, unit_id),
            last_odometer_km(connection, home, asker, unit_id),
        )


def last_odometer_km(
    connection: duckdb.DuckDBPyConnection, home: Home, asker: Asker, unit_id: str
) -> float | None:
    """The odometer's last reading, one typed since the last build included; None without any."""
    known = read_frame(connection, "bike_odometer", schemas.ODOMETER, {"unit_id": unit_id})
    readings = list(zip(known["read_on"].dt.date.astype(str), known["odometer_km"], strict=True))
    readings += [
        (cells["read_on"], float(cells["odometer_km"]))
        for cells in pending_rows(home, asker, "odometer")["odometer"].values()
        if cells["unit_id"] == unit_id
    ]
    return float(max(readings)[1]) if readings else None


def sensors_on_bike(
    connection: duckdb.DuckDBPyConnection, home: Home, asker: Asker, unit_id: str
) -> pd.DataFrame:
    """BENCH_SENSORS: those on the bike now, by the published records and what was typed since."""
    published = read_frame(connection, "bench_sensors", BENCH_SENSORS, {"unit_id": unit_id})
    typed = pending_rows(home, asker, "sensors")["sensors"]
    kept = published[~published["sensor_id"].isin(typed)]
    here = [
        sensor_as_typed(connection, home, asker, cells)
        for cells in typed.values()
        if cells.get("unit_id") == unit_id and not cells.get("removed_on")
    ]
    if not here:
        return kept.reset_index(drop=True)
    return BENCH_SENSORS.check(pd.concat([kept, pd.DataFrame(here)], ignore_index=True))


def sensor_as_typed(
    connection: duckdb.DuckDBPyConnection, home: Home, asker: Asker, cells: Mapping[str, str]
) -> dict:
    """One row of BENCH_SENSORS from a row of ``sensors`` that waits for the next build."""
    part_no = cells["part_no"]
    part = standing_in(connection, home, asker, "parts", [part_no]).get(part_no, {})
    known = {name: _typed(name, part.get(name)) for name in _PART_CELLS}
    own = {name: cells[name] for name in ("sensor_id", "unit_id", "mount", "part_no")}
    return own | known | {"part_description": part.get("description")}


def _typed(name: str, cell: str | None) -> object:
    numbers = name.endswith(("_v", "_low", "_high", "tracks"))
    return _number(cell) if numbers else cell


def _number(value: object) -> float | None:
    return None if value is None or value == "" or pd.isna(value) else float(str(value))


def checks_as_typed(
    sensor: Mapping[str, object], bands: pd.DataFrame, test: Mapping[str, object]
) -> pd.DataFrame:
    """CHECKS of one bench test, as far as it has been typed.

    Parameters
    ----------
    sensor : mapping
        One row of BENCH_SENSORS.
    bands : DataFrame
        BANDS.
    test : mapping
        Cells of ``test_sessions``; a cell left out is not read yet.
    """
    row = {name: sensor.get(name, test.get(name)) for name in READINGS.names} | _ANY
    for column in READINGS.columns:
        if column.kind == "number":
            row[column.name] = _number(row[column.name])
    own = bands[bands["part_no"].eq(row["part_no"])]
    key = repr((list(row.values()), own.to_numpy().tolist()))
    checks = _CHECKED.of(key, lambda: _checked(row, own))
    return checks.assign(session_id=str(test.get("session_id") or "typed")).astype(
        {"session_id": "str"}
    )


#: Which test and sensor it is decides nothing about the checks.
_ANY = {"session_id": "typed", "sensor_id": "any"}
_CHECKED: Lately[pd.DataFrame] = Lately(500, 32 * 2**20)


def _checked(row: Mapping[str, object], bands: pd.DataFrame) -> pd.DataFrame:
    readings = READINGS.check(pd.DataFrame([row]).astype(object))
    return CHECKS.check(check_readings(readings, bands))
