"""What sound sensors read: each counts once, by the median of what is not in doubt."""

import duckdb
import numpy as np
import pandas as pd
import pytest

from pipeline.statements import store
from pipeline.warehouse import good_sensors
from pipeline.warehouse.good_sensors import good_profiles, good_readings

N = 400
MEASURES = ["smoothness_pct", "linearity_independent_pct", "linearity_terminal_pct"]


@pytest.fixture
def tests():
    rng = np.random.default_rng(3)
    sensor = rng.integers(0, 90, N)
    return pd.DataFrame(
        {
            "session_id": [f"t{number}" for number in range(N)],
            "part_no": np.where(sensor % 2, "P2", "P1"),
            "sensor_id": [f"s{number}" for number in sensor],
            "sweep_channel": np.where(np.arange(N) % 9 == 0, "ohm", "volt"),
        }
    )


@pytest.fixture
def readings(tests):
    rng = np.random.default_rng(4)
    both = [
        tests[["session_id"]].assign(
            reading=name,
            value=rng.normal(0.5, 0.1, N),
            doubt=pd.Series(rng.choice(["", "Volts or millivolts?"], N, p=[0.9, 0.1]), dtype="str"),
        )
        for name in ("track_ohm", "closed_v")
    ]
    values = pd.concat(both, ignore_index=True)
    values.loc[::7, "doubt"] = None
    return values


@pytest.fixture
def sweeps(tests):
    rng = np.random.default_rng(5)
    measures = pd.DataFrame(rng.gamma(2.0, 0.1, (N, 3)), columns=MEASURES)
    measures.loc[::11, "smoothness_pct"] = np.nan
    conclusion = np.where(np.arange(N) % 4 == 0, "dropouts_seen", "nothing_seen")
    held = tests[["session_id"]].assign(**measures, hysteresis_pct=None, conclusion=conclusion)
    return held.astype({"hysteresis_pct": "float64"})


@pytest.fixture
def profile(tests):
    rng = np.random.default_rng(6)
    cells = pd.DataFrame({"bin_from_pct": [0.0, 10.0, 20.0], "bin_to_pct": [10.0, 20.0, 30.0]})
    held = tests[["session_id"]].merge(cells, how="cross")
    return held.assign(smoothness_pct=rng.gamma(2.0, 0.1, len(held)))


@pytest.fixture
def connection(tests, readings, sweeps, profile):
    with duckdb.connect() as opened:
        opened.execute("create schema marts")
        store(opened, "tests", tests)
        store(opened, "reading_values", readings)
        store(opened, "sweep_measures", sweeps)
        store(opened, "sweep_profile", profile)
        store(opened, "good_tests", tests.loc[tests.index % 5 > 0, ["session_id"]])
        yield opened


def _good(rows, tests):
    """Rows of sound sensors' tests, with their part, sensor and channel."""
    return rows.merge(tests[tests.index % 5 > 0], on="session_id")


@pytest.mark.parametrize("at_once", [7, 10_000])
def test_a_sensor_counts_once_by_the_median_of_what_is_not_in_doubt(
    connection, tests, readings, sweeps, monkeypatch, at_once
):
    monkeypatch.setattr(good_sensors, "SENSORS_AT_ONCE", at_once)
    found = good_readings(connection)
    certain = _good(readings[readings["doubt"].fillna("").eq("")], tests)
    swept = _good(sweeps[sweeps["conclusion"].eq("nothing_seen")], tests)
    swept = swept[swept["sweep_channel"].eq("volt")].melt(
        ["part_no", "sensor_id"], MEASURES, "reading", "value"
    )
    keys = ["part_no", "sensor_id", "reading"]
    wanted = pd.concat(
        [rows.dropna(subset="value").groupby(keys)["value"].median() for rows in (certain, swept)]
    )
    assert list(found[keys].itertuples(index=False, name=None)) == wanted.index.tolist()
    assert found["value"].tolist() == wanted.tolist()  # to the last bit
    assert {1, 2} <= set(certain["sensor_id"].value_counts())


def test_a_profile_holds_the_median_over_a_sensor_s_sweeps(
    connection, tests, sweeps, profile, monkeypatch
):
    monkeypatch.setattr(good_sensors, "SENSORS_AT_ONCE", 7)
    good_readings(connection)
    found = good_profiles(connection)
    swept = _good(sweeps[sweeps["conclusion"].eq("nothing_seen")], tests)
    swept = swept[swept["sweep_channel"].eq("volt")][["session_id", "part_no", "sensor_id"]]
    wanted = swept.merge(profile, on="session_id").pivot_table(
        "smoothness_pct", ["part_no", "sensor_id"], "bin_from_pct", "median"
    )
    told = found.sensors[["part_no", "sensor_id"]]
    assert list(told.itertuples(index=False, name=None)) == wanted.index.tolist()
    assert np.array_equal(found.smoothness_pct, wanted.to_numpy())


def test_without_sound_sensors_nothing_was_read(connection):
    connection.execute("delete from marts.good_tests")
    assert good_readings(connection).empty
    assert good_profiles(connection).smoothness_pct.shape == (0, 3)
