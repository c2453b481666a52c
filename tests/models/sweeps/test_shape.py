"""Golden values computed by hand or from the closed forms stated at each check."""

import numpy as np
import pytest
from scipy.optimize import brentq, linprog

from models.simulate.divider import loaded_divider_v
from models.sweeps.divider import contact_ohm, loaded_fraction
from models.sweeps.shape import hysteresis, independent_linearity, terminal_linearity
from tests.models.sweeps.smoothness_by_definition import output_smoothness

X = np.linspace(0.0, 1.0, 10_001)
CLEAN = 0.5 + 4.0 * X


def share_of_5v(volts):
    return 100.0 * volts / 5.0


def test_a_clean_line_has_no_departure():
    assert share_of_5v(independent_linearity(X, CLEAN)[0]) == pytest.approx(0.0, abs=1e-9)
    assert share_of_5v(output_smoothness(100 * X, CLEAN)[0]) == pytest.approx(0.0, abs=1e-9)


def test_one_point_20_mv_low_is_0_40_percent_of_smoothness():
    dented = CLEAN.copy()
    dented[5050] -= 0.020
    height, travel = output_smoothness(100 * X, dented)
    assert share_of_5v(height) == pytest.approx(0.40, abs=1e-6)
    assert travel == pytest.approx(50.5)


def test_half_a_sine_wave_departs_by_half_its_height():
    # sin(pi x) lies between 0 and 1; the best line is the level 1/2.
    departure, slope, _ = independent_linearity(X, CLEAN + 0.05 * np.sin(np.pi * X))
    assert share_of_5v(departure) == pytest.approx(0.50, abs=1e-6)
    assert slope == pytest.approx(4.0, abs=1e-6)


def test_a_full_sine_wave_departs_by_0_68_percent():
    # By symmetry about x = 1/2 the best line is -k u, u = x - 1/2, and the error alternates at
    # the inner extreme cos(2 pi u) = k / 2 pi and at the end u = 1/2, where it is k / 2.
    def off(k):
        u = np.arccos(k / (2 * np.pi)) / (2 * np.pi)
        return np.sin(2 * np.pi * u) - k * u - k / 2

    k = brentq(off, 0.5, 3.0)
    departure = independent_linearity(X, CLEAN + 0.05 * np.sin(2 * np.pi * X))[0]
    assert share_of_5v(departure) == pytest.approx(100 * 0.05 / 5 * k / 2, abs=1e-5)
    assert share_of_5v(departure) == pytest.approx(0.68, abs=0.005)


def test_terminal_linearity_counts_from_the_ends():
    bowed = CLEAN + 0.05 * np.sin(np.pi * X)
    departure = terminal_linearity(X, bowed, (0.0, 1.0), (0.5, 4.5))
    assert share_of_5v(departure) == pytest.approx(1.0, abs=1e-6)


@pytest.mark.parametrize("seed", range(5))
def test_independent_linearity_is_the_linear_programmes_optimum(seed):
    rng = np.random.default_rng(seed)
    x, y = rng.random(200), rng.standard_normal(200)
    ones = np.ones((200, 1))
    bounds = np.block([[-x[:, None], -ones, -ones], [x[:, None], ones, -ones]])
    best = linprog(
        [0, 0, 1], A_ub=bounds, b_ub=np.concatenate([-y, y]), bounds=[(None, None)] * 3
    ).fun
    assert independent_linearity(x, y)[0] == pytest.approx(best, rel=1e-6)


def test_hysteresis_is_the_difference_at_the_same_travel():
    up = np.linspace(0, 100, 200)
    down = np.linspace(100, 0, 150)
    assert hysteresis(up, 10 + 0.8 * up, down, 10.3 + 0.8 * down) == pytest.approx(-0.3)


def test_contact_resistance_is_the_dividers_inverse():
    volts = loaded_divider_v(0.37, supply_v=5.0, track_ohm=4200.0, load_ohm=82e3, contact_ohm=15e3)
    assert contact_ohm(0.37, volts, 5.0, 4200.0, 82e3) == pytest.approx(15e3)
    assert np.isinf(contact_ohm(0.37, 0.0, 5.0, 4200.0, 82e3))


@pytest.mark.parametrize(
    ("contact", "output_v"), [(0.0, 2.469), (1e3, 2.445), (1e4, 2.247), (1e5, 1.242)]
)
def test_the_loaded_dividers_worked_example_reads_back(contact, output_v):
    """R = 5 kilohm, x = 0.5, RL = 100 kilohm, 5 V."""
    shown = loaded_divider_v(0.5, supply_v=5.0, track_ohm=5e3, load_ohm=1e5, contact_ohm=contact)
    assert shown == pytest.approx(output_v, abs=5e-4)
    assert contact_ohm(0.5, shown, 5.0, 5e3, 1e5) == pytest.approx(contact, abs=1e-6)


def test_the_wipers_place_is_read_back_from_the_loaded_output():
    x = np.linspace(0.01, 0.99, 50)
    share = loaded_divider_v(x, supply_v=1.0, track_ohm=5e3, load_ohm=1e4)
    assert loaded_fraction(share, 5e3, 1e4) == pytest.approx(x, abs=1e-9)
