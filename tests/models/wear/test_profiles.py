"""Profiles of single tests, and the range of what sound sensors show."""

import numpy as np
import pandas as pd
import pytest

from models.wear.exposure import BINS
from models.wear.profiles import LEAST_SENSORS, SoundRoughness, profiles_of
from models.wear.records import WearRecords
from models.wear.schemas import ROUGHNESS_BAND


def records(rng: np.random.Generator, n: int, sensors: int) -> WearRecords:
    """Tests of a few sensors and two part numbers, some bins not known."""
    sensor = rng.integers(0, sensors, n)
    tests = pd.DataFrame(
        {
            "session_id": [f"t{k}" for k in range(n)],
            "sensor_id": [f"s{k}" for k in sensor],
            "life_id": [f"s{k}" for k in sensor],
            "part_no": np.where(sensor % 2, "P1", "P2"),
        }
    )
    roughness = rng.lognormal(0.0, 0.3, (n, BINS)).astype(np.float32)
    roughness[rng.random((n, BINS)) < 0.2] = np.nan
    counts = rng.integers(0, 3, (n, BINS)).astype(np.float32)
    return WearRecords(tests, counts, rng.random((n, BINS)).astype(np.float32), roughness)


def by_rows(of: WearRecords, turn: np.ndarray) -> pd.DataFrame:
    """The same by a table of rows, one after another: slow, and another way."""
    long = profiles_of(of).merge(of.tests.assign(turn=turn), on="session_id")
    long = long[(long["turn"] > 0) & long["roughness"].notna()].sort_values("turn")
    last = long.groupby(["part_no", "sensor_id", "bin_from_pct"])["roughness"].last()
    grouped = last.groupby(["part_no", "bin_from_pct"])
    shares = {"low": 0.05, "middle": 0.5, "high": 0.95}
    out = pd.DataFrame({name: grouped.quantile(share) for name, share in shares.items()})
    out["sensor_count"] = grouped.size()
    return out[out["sensor_count"] >= LEAST_SENSORS].reset_index()


@pytest.mark.parametrize("at_once", [1, 7, 400])
def test_the_range_is_of_the_last_passed_test_of_each_sensor(at_once):
    rng = np.random.default_rng(5)
    of = records(rng, 400, 60)
    turn = np.where(rng.random(400) < 0.6, 1 + rng.permutation(400), 0)
    sound = SoundRoughness(of.tests, turn)
    for begin in range(0, 400, at_once):
        sound.count(of.take(np.arange(begin, min(begin + at_once, 400))))
    wanted = by_rows(of, turn)
    assert len(wanted) == 2 * BINS
    pd.testing.assert_frame_equal(
        sound.frame(), ROUGHNESS_BAND.check(wanted), check_exact=False, rtol=1e-12
    )


def test_too_few_sensors_give_no_range():
    of = records(np.random.default_rng(6), 40, 2 * LEAST_SENSORS - 2)
    sound = SoundRoughness(of.tests, np.arange(1, 41))
    sound.count(of)
    assert sound.frame().empty


def test_no_passed_test_gives_no_range():
    of = records(np.random.default_rng(7), 30, 3)
    sound = SoundRoughness(of.tests, np.zeros(30))
    sound.count(of)
    assert sound.frame().empty


def test_a_profile_has_a_row_for_each_bin():
    of = records(np.random.default_rng(8), 3, 2)
    rows = profiles_of(of)
    assert rows["session_id"].tolist() == [f"t{k}" for k in range(3) for _ in range(BINS)]
    assert rows["bin_from_pct"].tolist()[:BINS] == [2.0 * k for k in range(BINS)]
    assert np.array_equal(rows["roughness"].to_numpy(), of.roughness.ravel(), equal_nan=True)
    assert np.array_equal(rows["dropout_count"].to_numpy(int), of.counts.ravel())
