import numpy as np
import pytest

from models.sweeps.conclusion import ROUGH_Z
from models.sweeps.measure import measure_one
from models.sweeps.windows import off_local_line, running_sum
from tests.models.sweeps.synthetic import healthy


def test_a_parabola_has_no_departure_from_its_local_line():
    u = np.arange(400.0)
    rest = off_local_line(3.0 + 0.2 * u - 0.001 * u**2, np.array([0, 400]), np.array([7]))
    assert np.abs(rest[8:-8]).max() < 1e-4  # single precision


def test_grain_in_one_stretch_is_found_there_and_called_rough():
    t, y, travel = healthy()
    rng = np.random.default_rng(5)
    stretch = (travel > 60) & (travel < 64)
    y = y + 0.012 * rng.standard_normal(y.size) * stretch
    row = measure_one(t, y, supply_v=5.0).measures.iloc[0]
    assert row["conclusion"] == "rough"
    assert row["roughness_travel_pct"] == pytest.approx(62.0, abs=1.5)
    assert row["roughness_pct"] == pytest.approx(0.24, abs=0.05)
    assert 61 - 2 <= row["smoothness_travel_pct"] <= 65


@pytest.mark.parametrize("seed", range(5))
def test_noise_alone_is_not_rough(seed):
    t, y, _ = healthy(noise_v=0.004, seed=seed)
    row = measure_one(t, y, supply_v=5.0).measures.iloc[0]
    assert row["conclusion"] == "nothing_seen"
    assert row["noise_pct"] == pytest.approx(0.08, rel=0.2)


def test_a_gap_is_no_roughness():
    t, y, _ = healthy()
    keep = np.ones(t.size, dtype=bool)
    for start in (300, 1300, 2500):
        keep[start : start + 40] = False
    assert measure_one(t[keep], y[keep], supply_v=5.0).measures.iloc[0]["conclusion"] != "rough"


def test_a_running_sum_is_the_sum_of_each_full_run():
    values = np.random.default_rng(1).standard_normal(60)
    for length in (1, 2, 5, 11, 23, 60):
        expected = [values[i : i + length].sum() for i in range(values.size - length + 1)]
        assert running_sum(values, length) == pytest.approx(np.array(expected))


def sagging(depth_v, grain_v, seed=0):
    """A sweep whose output sags over 3 % of travel about 60 %, with grain there."""
    t, y, travel = healthy(seed=seed)
    inside = np.abs(travel - 60.0) < 1.5
    grain = grain_v * np.random.default_rng(seed + 100).standard_normal(y.size)
    return t, y + inside * (grain - depth_v)


def test_a_sag_that_every_pass_shows_adds_to_the_evidence_of_grain():
    grain = [measure_one(*sagging(0.0, 0.0025, s), supply_v=5.0) for s in range(6)]
    both = [measure_one(*sagging(0.006, 0.0025, s), supply_v=5.0) for s in range(6)]
    without, beside = (
        np.array([r.measures["roughness_z"].iloc[0] for r in rows]) for rows in (grain, both)
    )
    assert np.median(beside) > np.median(without) + 2.0
    assert both[0].measures["roughness_travel_pct"].iloc[0] == pytest.approx(60.0, abs=2.0)


@pytest.mark.parametrize("depth_v", [0.005, 0.010, 0.020])
def test_an_uneven_output_without_grain_is_not_called_rough(depth_v):
    for seed in range(3):
        t, y, travel = healthy(seed=seed)
        hollow = depth_v * np.exp(-0.5 * ((travel - 60.0) / 1.5) ** 2)
        row = measure_one(t, y - hollow, supply_v=5.0).measures.iloc[0]
        assert row["conclusion"] == "nothing_seen"


def test_a_stretch_found_in_one_direction_of_a_single_pass_is_no_sag():
    t, y, travel = healthy()
    once = (np.abs(travel - 60.0) < 1.5) & (t < 4.0)
    z = measure_one(t, y - 0.006 * once, supply_v=5.0).measures["roughness_z"].iloc[0]
    assert z < ROUGH_Z
