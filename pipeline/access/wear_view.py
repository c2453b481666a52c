"""The wear map's page, and what a bike's page shows of it."""

from __future__ import annotations

from dataclasses import dataclass

import duckdb
import pandas as pd

from models.frames import Column, FrameSchema
from models.wear.schemas import BANDS, WEAR_MAP
from pipeline.access.reading import Edition, NotThereError, edition_of, read_frame, reading
from pipeline.home import Home
from pipeline.warehouse.wear_schemas import (
    WEAR_ABOUT,
    WEAR_GATHERED,
    WEAR_PASSES,
    WEAR_STRETCHES,
)

ALL = "all"

WEAR_SENSORS = FrameSchema(
    "wear_sensors",
    "one mapped life of a sensor, as known after its last test",
    (
        Column("sensor_id", "text", "the sensor"),
        Column("life_id", "text", "its life; a cleaning begins another"),
        Column("unit_id", "text", "the bike"),
        Column("label", "text", "plate or fleet number"),
        Column("mount", "text", "where on the bike"),
        Column("part_no", "text", "part number"),
        Column("duty", "text", "the bike's duty", blank=True),
        Column("in_service", "flag", "on the bike now, in this life"),
        Column("session_id", "text", "its last test with a sweep"),
        Column("n_tests", "whole", "tests mapped"),
        Column("sensor_age_km", "number", "age at the last one", "km"),
        Column("confidence", "number", "probability of a worn band", "0 to 1"),
        Column("peak_pct", "number", "middle of the likeliest band", "% of travel"),
        Column("peak_low_pct", "number", "lower 90 % limit", "% of travel"),
        Column("peak_high_pct", "number", "upper 90 % limit", "% of travel"),
        Column("from_pct", "number", "lower edge", "% of travel"),
        Column("to_pct", "number", "upper edge", "% of travel"),
        Column("level", "number", "drop-outs a pass in the band", "1/pass"),
        Column("roughening", "number", "roughness there beyond the sound track", "ratio"),
        Column("at_stop", "flag", "reaches within 4 % of a stop"),
        Column("further_bands", "whole", "further bands beside it"),
        Column("moved_pct_per_1000km", "number", "shift of its middle", "%/1000 km", True),
        Column("moved_low", "number", "lower 90 % limit", "%/1000 km", True),
        Column("moved_high", "number", "upper 90 % limit", "%/1000 km", True),
        Column("widened_pct_per_1000km", "number", "growth of its width", "%/1000 km", True),
        Column("widened_low", "number", "lower 90 % limit", "%/1000 km", True),
        Column("widened_high", "number", "upper 90 % limit", "%/1000 km", True),
        Column("answer", "text", "km expected, level reached, or not enough known"),
        Column("fails_at_km", "number", "age at the level its like failed at", "km", True),
        Column("fails_low_km", "number", "lower 90 % limit", "km", True),
        Column("fails_high_km", "number", "upper 90 % limit", "km", True),
    ),
)

WEAR_PROFILE_ROWS = FrameSchema(
    "wear_profile_rows",
    "one travel bin of one test of one life, the earliest test first",
    (
        Column("session_id", "text", "the test"),
        Column("tested_on", "date", "its day"),
        Column("sensor_age_km", "number", "the sensor's age", "km"),
        Column("bin_from_pct", "number", "lower edge of the bin, 2 % wide", "% of travel"),
        Column("exposure", "number", "passes that would have shown a drop-out", "passes"),
        Column("dropout_count", "whole", "drop-outs seen"),
        Column("roughness", "number", "smoothness over the test's median", "ratio", True),
        Column("fleet_low", "number", "5 of 100 sensors that passed are below", "ratio", True),
        Column("fleet_high", "number", "5 of 100 are above", "ratio", True),
        Column("fleet_sensors", "whole", "sensors of the part behind these"),
    ),
)

WEAR_USE = FrameSchema(
    "wear_use",
    "one travel bin of one sensor in service: its wear, its like's, and how the throttle is used",
    (
        Column("sensor_id", "text", "the sensor"),
        Column("bin_from_pct", "number", "lower edge of the bin, 2 % wide", "% of travel"),
        Column("sensor_share", "number", "expected share of its wear", "0 to 1"),
        Column("like_share", "number", "share of the wear of its duty", "0 to 1"),
        Column("like_low", "number", "lower 90 % limit", "0 to 1"),
        Column("like_high", "number", "upper 90 % limit", "0 to 1"),
        Column("like_duty", "text", "that duty, or all"),
        Column("like_sensors", "whole", "sensors behind it"),
        Column("dwell", "number", "share of the logged time; blank without a log", "0 to 1", True),
        Column("sliding", "number", "share of the travel moved", "0 to 1", True),
        Column("logged_s", "number", "time logged", "s", True),
        Column("gap_s", "number", "time left out", "s", True),
        Column("moved_pct", "number", "travel moved", "% of travel", True),
        Column("rate_hz", "number", "samples a second of the log", "Hz", True),
    ),
)


@dataclass(frozen=True)
class OneSensor:
    """One sensor's wear. ``sensor`` is one row of WEAR_SENSORS as a dict.

    ``profiles`` WEAR_PROFILE_ROWS, ``bands`` BANDS; of a sensor in service also ``stretches``
    WEAR_STRETCHES, ``passes`` WEAR_PASSES and ``use`` WEAR_USE, else empty.
    """

    sensor: dict
    profiles: pd.DataFrame
    bands: pd.DataFrame
    stretches: pd.DataFrame
    passes: pd.DataFrame
    use: pd.DataFrame


@dataclass(frozen=True)
class WearView:
    """The wear map. ``about`` is one row of WEAR_ABOUT as a dict.

    ``choices`` WEAR_GATHERED, ``cells`` WEAR_MAP and ``sensors`` WEAR_SENSORS of the part and duty
    asked for, ``one`` the sensor asked for, else the one most worth a look; None without any.
    """

    edition: Edition
    about: dict
    choices: pd.DataFrame
    part_no: str
    duty: str
    cells: pd.DataFrame
    sensors: pd.DataFrame
    one: OneSensor | None


@dataclass(frozen=True)
class BikeWear:
    """Where the tracks of a bike's sensors in service wear.

    ``sensors`` WEAR_SENSORS (those with a mapped test), ``stretches`` WEAR_STRETCHES, ``passes``
    WEAR_PASSES.
    """

    sensors: pd.DataFrame
    stretches: pd.DataFrame
    passes: pd.DataFrame


def bike_wear(connection: duckdb.DuckDBPyConnection, unit_id: str) -> BikeWear:
    """What a bike's page shows of the wear map."""
    sensors, bike = _sensors(connection, unit_id=unit_id), {"unit_id": unit_id}
    return BikeWear(
        sensors[sensors["in_service"].astype(bool)].reset_index(drop=True),
        read_frame(connection, "wear_stretches", WEAR_STRETCHES, bike),
        read_frame(connection, "wear_passes", WEAR_PASSES, bike),
    )


def wear_view(
    home: Home, part_no: str = ALL, duty: str = ALL, life_id: str | None = None
) -> WearView:
    """Everything the wear map's page shows.

    Parameters
    ----------
    home : Home
        Where the records are.
    part_no, duty : str
        Which sensors the map and the list are of; ``all`` for any.
    life_id : str, optional
        The life shown by itself, of whatever part and duty.

    Raises
    ------
    NotThereError
        Nothing is published in this home, or it holds no mapped life of that name.
    """
    with reading(home) as (manifest, connection):
        of = {"part_no": part_no, "duty": duty}
        sensors = _sensors(connection, part_no, duty)
        (about,) = read_frame(connection, "wear_about", WEAR_ABOUT).to_dict("records")
        return WearView(
            edition=edition_of(home, manifest),
            about=about,
            choices=read_frame(connection, "wear_choices", WEAR_GATHERED),
            part_no=part_no,
            duty=duty,
            cells=read_frame(connection, "wear_cells", WEAR_MAP, of),
            sensors=sensors,
            one=_one(connection, sensors, life_id),
        )


def _one(
    connection: duckdb.DuckDBPyConnection, sensors: pd.DataFrame, life_id: str | None
) -> OneSensor | None:
    if life_id is not None:
        sensors = _sensors(connection)
        sensors = sensors[sensors["life_id"].eq(life_id)]
        if sensors.empty:
            raise NotThereError(f"The wear map holds no sensor {life_id}.")
    if sensors.empty:
        return None
    sensor = sensors.iloc[:1].to_dict("records")[0]
    life, bike = {"life_id": sensor["life_id"]}, {"unit_id": sensor["unit_id"]}
    stretches = read_frame(connection, "wear_stretches", WEAR_STRETCHES, bike)
    stretches = _of(stretches, sensor)
    passes = read_frame(connection, "wear_passes", WEAR_PASSES, bike)
    return OneSensor(
        sensor,
        read_frame(connection, "wear_profile_rows", WEAR_PROFILE_ROWS, life),
        read_frame(connection, "wear_bands_of_life", BANDS, life),
        stretches,
        passes[passes["rate_hz"].isin(stretches["rate_hz"])].reset_index(drop=True),
        _of(read_frame(connection, "wear_use", WEAR_USE, bike), sensor),
    )


def _sensors(
    connection: duckdb.DuckDBPyConnection,
    part_no: str = ALL,
    duty: str = ALL,
    unit_id: str | None = None,
) -> pd.DataFrame:
    asked = {"part_no": part_no, "duty": duty, "unit_id": unit_id}
    return read_frame(connection, "wear_sensors", WEAR_SENSORS, asked)


def _of(rows: pd.DataFrame, sensor: dict) -> pd.DataFrame:
    """Rows of the sensor; none where the life shown is not the one in service."""
    own = rows["sensor_id"].eq(sensor["sensor_id"]) & sensor["in_service"]
    return rows[own].reset_index(drop=True)
