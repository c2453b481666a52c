import numpy as np
import pytest

from models.wear.concentration import concentration
from tests.models.wear.simulated_wear import Truth, simulate_wear


def decide(truth, sensors, seed):
    records = simulate_wear(sensors, seed, truth).records
    sensor = records.tests["sensor_id"].to_numpy()
    return concentration(sensor, records.counts, records.exposure, n_shifts=199)


def test_flat_fleets_are_called_flat():
    answers = [decide(Truth(even=True), 250, 72_000 + k).answer for k in range(20)]
    assert answers.count("flat") >= 16


def test_gathered_wear_is_seen_and_placed():
    found = decide(Truth(duties=("training",)), 250, 72_100)
    assert found.answer == "concentrated"
    assert found.from_pct < 7.0 < found.to_pct
    assert found.ratio > 2.0
    assert found.p_value <= 0.05


def test_one_sensor_with_many_drop_outs_is_not_the_fleet():
    rng = np.random.default_rng(1)
    counts = np.zeros((20, 50))
    for k in range(20):
        counts[k, rng.integers(0, 50)] = 3.0
    counts[0, 30] = 500.0
    found = concentration(np.arange(20), counts, np.full((20, 50), 5.0))
    assert found.answer == "flat"


def test_uneven_exposure_is_no_concentration():
    rng = np.random.default_rng(2)
    flat = 0
    for _ in range(20):
        exposure = np.full((150, 50), 1.0)
        exposure[:, :10] = 12.0
        share = exposure[0] / exposure[0].sum()
        counts = np.zeros((150, 50))
        for k in range(150):
            counts[k, rng.choice(50, p=share)] = 4.0
        flat += concentration(np.arange(150), counts, exposure, n_shifts=99).answer == "flat"
    assert flat >= 16


def test_few_sensors_are_not_enough():
    found = concentration(np.arange(7), np.ones((7, 50)), np.ones((7, 50)))
    assert found.answer == "not enough known"
    assert np.isnan(found.p_value)
    assert found.n_sensors == 7


def test_the_same_seed_gives_the_same_answer():
    one, two = (decide(Truth(), 60, 72_300) for _ in range(2))
    assert one == two
    assert one.p_value == pytest.approx(two.p_value)
