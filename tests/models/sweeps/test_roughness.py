import numpy as np
import pytest

from models.sweeps.measure import measure_one
from models.sweeps.windows import off_local_line
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
