"""The wear map's page, and what a bike's page shows of it."""

from __future__ import annotations

from dataclasses import dataclass

import duckdb
import pandas as pd

from models.frames import Column, FrameSchema
from models.wear.schemas import BANDS, WEAR_MAP
from models.wear.test_plan import LiftChance, passes_needed, sureness
from pipeline.access.reading import Edition, NotThereError, edition_of, read_frame, reading
from pipeline.access.scope.allowed import view
from pipeline.access.wear_profiles import WEAR_PROFILE_ROWS, profile_rows
from pipeline.asker import Asker
from pipeline.home import Home
from pipeline.statements import run
from pipeline.warehouse.wear_schemas import (
    WEAR_ABOUT,
    WEAR_GATHERED,
    WEAR_LIFT,
    WEAR_PASSES,
    WEAR_STRETCHES,
)

ALL = "all"
_TOO_FEW = "too few shops and sensors stand behind it to show it to one shop"

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
    """The wear map. ``about`` is one row of WEAR_ABOUT as a dict, or its reason alone.

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


@dataclass(frozen=True)
class SweepPlan:
    """How sure one test's sweep was to show wear of a width, and what would have been enough.

    ``made`` passes over the travel; ``needed`` at the same rate and speed for 95 %, 0 where no
    number is enough; ``sure`` from 0 to 1.
    """

    width_pct: float
    rate_hz: float
    speed_pct_per_s: float
    made: int
    sure: float
    needed: int


@dataclass(frozen=True)
class TestWear:
    """Where the track of one test's sensor wears, as known by then.

    ``life_id`` None where the sensor has no track or the test no life. ``bands`` BANDS and
    ``profiles`` WEAR_PROFILE_ROWS of this test and those of the life before it, both empty where it
    has no sweep that could be mapped. ``stretches`` WEAR_STRETCHES: where to sweep slowest next, by
    all that is known today; empty where the life is over. ``plan`` None where rate or speed is not
    known.
    """

    __test__ = False  # no case of pytest's, for all its name

    life_id: str | None
    bands: pd.DataFrame
    profiles: pd.DataFrame
    stretches: pd.DataFrame
    plan: SweepPlan | None


#: Width of wear that a sweep is asked to be sure of, % of travel.
PLANNED_WIDTH_PCT = 1.0


def wear_at_test(
    connection: duckdb.DuckDBPyConnection, session: dict, measures: dict | None
) -> TestWear:
    """What a test's page shows of the wear map.

    Parameters
    ----------
    connection : DuckDBPyConnection
        On a published warehouse.
    session : dict
        One row of SESSION.
    measures : dict, optional
        One row of MEASURES; None without a sweep.
    """
    test = {"session_id": session["session_id"]}
    found = run(connection, "access/sql/wear_life_of_test", test).df().to_dict("records")
    if not found:
        none = (BANDS.empty(), WEAR_PROFILE_ROWS.empty(), WEAR_STRETCHES.empty())
        return TestWear(None, *none, None)
    life = {"life_id": found[0]["life_id"]}
    profiles = profile_rows(connection, life["life_id"])
    by_then = profiles["session_id"].drop_duplicates().tolist()
    mapped = session["session_id"] in by_then
    by_then = by_then[: by_then.index(session["session_id"]) + 1] if mapped else []
    bands = read_frame(connection, "wear_bands_of_life", BANDS, life)
    bike = {"unit_id": session["unit_id"]}
    stretches = read_frame(connection, "wear_stretches", WEAR_STRETCHES, bike)
    own = stretches["sensor_id"].eq(session["sensor_id"]) & bool(found[0]["goes_on"])
    return TestWear(
        life["life_id"],
        bands[bands["session_id"].isin(by_then)].reset_index(drop=True),
        profiles[profiles["session_id"].isin(by_then)].reset_index(drop=True),
        stretches[own].reset_index(drop=True),
        _plan(connection, measures) if mapped else None,
    )


def _plan(connection: duckdb.DuckDBPyConnection, measures: dict | None) -> SweepPlan | None:
    lift = read_frame(connection, "wear_lift", WEAR_LIFT)
    if measures is None or lift.empty:
        return None
    rate, speed, made = (measures[n] for n in ("rate_hz", "speed_pct_per_s", "pass_count"))
    if not (rate > 0 and speed > 0):  # blank is neither
        return None
    chance = LiftChance(lift["chance"].to_numpy(), lift["weight"].to_numpy(), 0, 0)
    width, made = PLANNED_WIDTH_PCT, int(made)
    needed = passes_needed(chance, width, rate, speed).passes
    sure = sureness(chance, width, rate, speed, made)
    return SweepPlan(width, float(rate), float(speed), made, sure, needed)


def bike_wear(connection: duckdb.DuckDBPyConnection, unit_id: str) -> BikeWear:
    """What a bike's page shows of the wear map."""
    sensors, bike = _sensors(connection, unit_id=unit_id), {"unit_id": unit_id}
    return BikeWear(
        sensors[sensors["in_service"].astype(bool)].reset_index(drop=True),
        read_frame(connection, "wear_stretches", WEAR_STRETCHES, bike),
        read_frame(connection, "wear_passes", WEAR_PASSES, bike),
    )


@view
def wear_view(
    home: Home, asker: Asker, part_no: str = ALL, duty: str = ALL, life_id: str | None = None
) -> WearView:
    """Everything the wear map's page shows.

    Parameters
    ----------
    home : Home
        Where the records are.
    asker : Asker
        Who asks.
    part_no, duty : str
        Which sensors the map and the list are of; ``all`` for any.
    life_id : str, optional
        The life shown by itself, of whatever part and duty.

    Raises
    ------
    NotThereError
        Nothing is published in this home, or it holds no mapped life of that name.
    """
    with reading(home, asker) as (manifest, connection):
        of = {"part_no": part_no, "duty": duty}
        sensors = _sensors(connection, part_no, duty)
        about = read_frame(connection, "wear_about", WEAR_ABOUT).to_dict("records")
        return WearView(
            edition=edition_of(home, manifest),
            about=about[0] if about else {"reason": _TOO_FEW},
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
        profile_rows(connection, life["life_id"]),
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
