import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad

from models.plans.belief import (
    Test,
    belief_after_pass,
    belief_grid,
    near,
    passed_chance,
    riding_step,
)

CHANCE = st.floats(0.0, 1.0)


@given(CHANCE, CHANCE, st.floats(1.0, 1e5), st.floats(1e-9, 1e-1))
def test_a_step_loses_no_chance(belief, onset, km, rate):
    step = riding_step(np.array([onset]), km, rate)
    belief = np.array([belief])
    assert 0 <= step.silent(belief) <= 1 + 1e-12
    assert 0 <= step.onwards(belief) <= 1
    assert -1e-9 <= step.km(belief) <= km * (1 + 1e-9)


@pytest.mark.parametrize("rate", [1e-9, 1e-6, 2e-4, 1e-2])
def test_a_step_against_its_integrals(rate):
    km, onset = 1_500.0, 0.3
    step = riding_step(np.array([onset]), km, rate)
    turns = quad(lambda u: np.exp(-rate * (km - u)) * onset / km, 0, km)[0]
    run = quad(
        lambda t: 1 - quad(lambda u: onset / km * -np.expm1(-rate * (t - u)), 0, t)[0], 0, km
    )[0]
    assert step.turns[0] == pytest.approx(turns, rel=1e-6)
    assert step.sound_km[0] == pytest.approx(run, rel=1e-6)
    assert step.defective_km == pytest.approx(quad(lambda t: np.exp(-rate * t), 0, km)[0], rel=1e-6)


def test_a_defect_heard_of_at_once_leaves_nobody_with_it():
    step = riding_step(np.array([0.2]), 1_000.0, 1e9)
    assert step.onwards(np.array([0.5])) == pytest.approx(0.0, abs=1e-5)
    assert step.silent(np.array([0.0])) == pytest.approx(0.8, abs=1e-5)


def test_a_defect_never_heard_of_only_gathers():
    step = riding_step(np.array([0.2]), 1_000.0, 1e-12)
    assert step.silent(np.array([0.3])) == pytest.approx(1.0)
    assert step.onwards(np.array([0.3])) == pytest.approx(0.3 + 0.7 * 0.2)


def test_a_pass_by_bayes():
    """0.3 defective, found 9 times in 10; sound ones pass 98 in 100: 0.03 of 0.03 + 0.686."""
    test = Test(0.9, 0.02)
    assert passed_chance(np.array(0.3), test) == pytest.approx(0.716)
    assert belief_after_pass(np.array(0.3), test) == pytest.approx(0.03 / 0.716)


def test_a_perfect_test_leaves_no_doubt_and_a_useless_one_all():
    assert belief_after_pass(np.array([0.4]), Test(1.0, 0.0)) == 0
    assert belief_after_pass(np.array([0.4]), Test(0.0, 0.0)) == pytest.approx(0.4)


@given(CHANCE, st.integers(3, 40))
def test_each_chance_lies_between_its_points(belief, n):
    grid, low = belief_grid(n), near(np.array([belief]), n)[0]
    assert grid[low] <= belief + 1e-12
    assert belief <= grid[low + 1] + 1e-12
