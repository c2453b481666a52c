"""What sound sensors read and showed over the travel: the median over each one's tests.

Good ranges are learned from it. Names stay behind: values come with the places of sensor and
reading, and whatever a sensor's tests hold is put in order together.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import duckdb
import numpy as np
import pandas as pd

from models.statics.bands import SENSOR_READINGS
from models.statics.medians import medians
from models.statics.schemas import GOOD_READINGS, PROFILE_BINS, PROFILED_SENSORS
from models.statics.travel_band import GoodProfiles
from pipeline.statements import run
from pipeline.warehouse.lives import MARTS

#: Sound sensors of which medians are taken at a time, for the memory.
SENSORS_AT_ONCE = 20_000


def good_readings(connection: duckdb.DuckDBPyConnection) -> pd.DataFrame:
    """GOOD_READINGS: one value of each reading and each sweep measure of each good sensor.

    Rests on ``marts.good_tests`` and ``marts.reading_values``.
    """
    run(connection, f"{MARTS}/good_numbered")
    sensors = run(connection, f"{MARTS}/good_sensors").df()
    return pd.concat([_static_readings(connection, sensors), _sweep_readings(connection, sensors)])


def _static_readings(connection: duckdb.DuckDBPyConnection, sensors: pd.DataFrame) -> pd.DataFrame:
    names = sorted(SENSOR_READINGS)
    run(connection, f"{MARTS}/good_reading_names", {"names": names})
    found = []
    for of in _by_parts(connection, "good_static_readings", sensors):
        place = _place(of["sensor_no"], of["reading_no"], len(names))
        found.append(medians(place, of["value"]))
    return _named(found, sensors, names)


def _sweep_readings(connection: duckdb.DuckDBPyConnection, sensors: pd.DataFrame) -> pd.DataFrame:
    names = (
        *("hysteresis_pct", "linearity_independent_pct", "linearity_terminal_pct"),
        "smoothness_pct",
    )
    found = []
    for of in _by_parts(connection, "good_sweep_readings", sensors):
        table = np.column_stack([of[name] for name in names])
        row, reading_no = np.nonzero(np.isfinite(table))
        place = _place(of["sensor_no"][row], reading_no, len(names))
        found.append(medians(place, table[row, reading_no]))
    return _named(found, sensors, names)


def good_profiles(connection: duckdb.DuckDBPyConnection) -> GoodProfiles:
    """One profile of each good sensor that was swept, put together some sensors at a time.

    Rests on ``good_numbered``, which ``good_readings`` has left.
    """
    for name in ("good_sweeps", "profile_bins"):
        run(connection, f"{MARTS}/{name}")
    sensors = PROFILED_SENSORS.check(run(connection, f"{MARTS}/swept_sensors").df())
    bins = PROFILE_BINS.check(connection.execute("from profile_bins order by bin_no").df())
    smoothness_pct = np.full((len(sensors), len(bins)), np.nan)
    for of in _by_parts(connection, "good_profiles", sensors):
        place = _place(of["sensor_no"], of["bin_no"], len(bins))
        place, middle = medians(place, of["smoothness_pct"])
        smoothness_pct.flat[place] = middle
    return GoodProfiles(sensors, bins, smoothness_pct)


def _by_parts(
    connection: duckdb.DuckDBPyConnection, name: str, sensors: pd.DataFrame
) -> Iterator[dict[str, np.ndarray]]:
    """The columns of a statement, of ``SENSORS_AT_ONCE`` sensors at a time; at least once."""
    for first in range(0, max(len(sensors), 1), SENSORS_AT_ONCE):
        some = {"first_sensor": first, "end_sensor": first + SENSORS_AT_ONCE}
        found = run(connection, f"{MARTS}/{name}", some).fetchnumpy()
        yield {column: np.ma.filled(values, np.nan) for column, values in found.items()}


def _place(sensor_no: np.ndarray, number: np.ndarray, many: int) -> np.ndarray:
    return sensor_no.astype(np.int64) * many + number


def _named(
    found: list[tuple[np.ndarray, np.ndarray]], sensors: pd.DataFrame, names: Sequence[str]
) -> pd.DataFrame:
    """GOOD_READINGS of medians by place, in the order of the places: part, sensor, reading."""
    place, value = (np.concatenate(part) for part in zip(*found, strict=True))
    sensor_no, reading_no = np.divmod(place, len(names))
    rows = sensors[["part_no", "sensor_id"]].take(sensor_no).reset_index(drop=True)
    reading = pd.Categorical.from_codes(reading_no, list(names)).astype("str")
    return GOOD_READINGS.check(rows.assign(reading=reading, value=value))
