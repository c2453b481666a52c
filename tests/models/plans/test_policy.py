from functools import cache

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from models.plans.belief import Test, belief_after_pass, riding_step
from models.plans.course import AT_ONCE, courses, left_alone
from models.plans.policy import KM_AHEAD, along, alternatives, at_km, onset_chances
from tests.models.plans.pricing import onset_from, prices

TEST = Test(0.9, 0.02)
RATE = 1 / 5_000
SHORT_KM = np.array([0.0, 1_000, 2_500, 5_000, 9_000, 15_000])


def exact(belief, onset, price, km):
    """Every plan tried out, without a grid of chances: test_at, replace_at and best_at."""
    flat = {name: float(value[0]) for name, value in price._asdict().items()}

    @cache
    def ride(k, p):
        step = riding_step(onset[0, k : k + 1], km[k + 1] - km[k], RATE)
        p = np.array([p])
        silent = float(step.silent(p)[0])
        cost = (1 - silent) * flat["heard"] - flat["usual_per_km"] * float(step.km(p)[0])
        return cost + silent * best(k + 1, float(step.onwards(p)[0]))

    def tested(k, p):
        passed = p * (1 - TEST.sensitivity) + (1 - p) * (1 - TEST.false_alarm)
        after = ride(k, float(belief_after_pass(np.array(p), TEST)))
        found = p * TEST.sensitivity * flat["found"]
        false = (1 - p) * TEST.false_alarm * flat["false_alarm"]
        return flat["test"] + found + false + passed * after

    @cache
    def best(k, p):
        if k == len(km) - 1:
            return flat["replace"]
        return min(flat["replace"], tested(k, p), ride(k, p))

    path = left_alone(np.array([belief]), onset, RATE, km)
    rows = []
    for k in range(len(km) - 1):
        p, silent, _ = (float(part[k, 0]) for part in path)
        cost = float(path.cost(price)[k, 0])
        rows.append(
            (
                cost + silent * tested(k, p),
                cost + silent * flat["replace"],
                cost + silent * best(k, p),
            )
        )
    return np.array(rows).T


@settings(max_examples=40)
@given(
    st.floats(0.0, 0.9),
    st.floats(0.0, 90_000.0),
    st.floats(0.0, 300.0),
    st.floats(200.0, 5_000.0),
)
def test_costs_are_those_of_the_best_of_all_plans(belief, age, test_cost, heard):
    price = prices(test=test_cost, heard=heard)
    onset = onset_from(age, km=SHORT_KM)
    found = alternatives(np.array([belief]), onset, price, TEST, RATE, km=SHORT_KM, n_beliefs=65)
    right = exact(belief, onset, price, SHORT_KM)
    for table, wanted in zip((found.test_at, found.replace_at, found.best_at), right, strict=True):
        # a plan that can be carried out never costs less than the best one
        assert np.all(table[0, :-1] >= wanted - 1e-6)
        assert table[0, :-1] == pytest.approx(wanted, rel=2e-3, abs=0.5)


def test_a_coarse_grid_of_chances_is_near_a_fine_one():
    belief = np.linspace(0.0, 0.8, 30)
    onset = onset_from(np.linspace(0, 80_000, 30))
    coarse, fine = (
        alternatives(belief, onset, prices(30), TEST, RATE, n_beliefs=n).best_at[:, 0]
        for n in (13, 129)
    )
    assert np.all(coarse >= fine - 1e-6)
    assert np.abs(coarse - fine).max() < 0.02 * prices().replace[0]


def test_the_far_end_hardly_moves_what_is_best_now():
    ages = np.array([5_000.0, 30_000.0, 60_000.0])
    belief = np.array([0.01, 0.05, 0.2])
    further = np.append(KM_AHEAD, [120_000.0, 160_000.0])
    near_end = alternatives(belief, onset_from(ages), prices(3), TEST, RATE)
    far_end = alternatives(belief, onset_from(ages, km=further), prices(3), TEST, RATE, km=further)
    assert near_end.best_at[:, 0] == pytest.approx(far_end.best_at[:, 0], abs=0.5)


def test_left_alone_as_simulated():
    rng = np.random.default_rng(4)
    n, km, onset = 200_000, SHORT_KM, onset_from(40_000.0, km=SHORT_KM)
    cumulative = np.append(0.0, -np.cumsum(np.log1p(-onset[0])))
    defect = np.interp(rng.exponential(size=n), cumulative, km, right=np.inf)
    defect = np.where(rng.random(n) < 0.2, 0.0, defect)
    heard = defect + rng.exponential(1 / RATE, n)
    path = left_alone(np.array([0.2]), onset, RATE, km)
    for k in range(1, len(km)):
        silent = heard > km[k]
        assert path.silent[k, 0] == pytest.approx(silent.mean(), abs=0.005)
        assert path.belief[k, 0] == pytest.approx((defect[silent] <= km[k]).mean(), abs=0.008)
        cost = np.where(silent, 0, 520.0) - 0.006 * np.minimum(heard, km[k])
        assert path.cost(prices())[k, 0] == pytest.approx(cost.mean(), abs=2.5)


def test_where_acting_begins_to_pay():
    """At the chances told, acting and waiting, and replacing and testing, cost the same."""
    onset = onset_from(20_000.0)
    found = alternatives(np.array([0.1]), onset, prices(), TEST, RATE, n_beliefs=129)
    act, replace = float(found.test_above[0]), float(found.replace_above[0])
    assert 0 < act < replace < 1
    below, above, surely = (
        alternatives(np.array([p]), onset, prices(), TEST, RATE, n_beliefs=129)
        for p in (act - 0.02, act + 0.02, replace + 0.02)
    )
    assert below.best_at[0, 0] < below.test_at[0, 0] - 1
    assert above.best_at[0, 0] == pytest.approx(above.test_at[0, 0], abs=1e-6)
    assert surely.best_at[0, 0] == pytest.approx(surely.replace_at[0, 0], abs=1e-6)


def test_a_test_that_costs_too_much_is_never_chosen():
    found = alternatives(
        np.array([0.3]), onset_from(20_000.0), prices(test=1e4), TEST, RATE, n_beliefs=33
    )
    assert np.all(found.best_at[:, :-1] < found.test_at[:, :-1])


def test_costs_rise_with_the_chance_of_a_defect():
    belief = np.linspace(0, 0.6, 13)
    onset = np.repeat(onset_from(20_000.0), 13, axis=0)
    found = alternatives(belief, onset, prices(13), TEST, RATE)
    assert np.all(np.diff(found.best_at[:, 0]) >= -1e-6)


def test_no_sensor_no_cost():
    found = alternatives(np.zeros(0), np.zeros((0, len(KM_AHEAD) - 1)), prices(0), TEST, RATE)
    assert found.best_at.shape == (0, len(KM_AHEAD))


def test_onset_from_chances():
    onset = onset_chances(np.array([[0.1, 0.19, 0.19, 1.0]]))
    assert onset[0] == pytest.approx([0.1, 0.0, 1.0])


@given(st.floats(0, 90_000))
def test_a_straight_table_is_read_straight(km):
    table = np.array([3.0 * KM_AHEAD + 7])
    assert at_km(table, np.array([[km]]))[0, 0] == pytest.approx(3 * km + 7)


def test_the_same_course_is_priced_again_and_again():
    """As weighed by itself, whatever was weighed along it before, and over a break in the middle."""
    rng = np.random.default_rng(2)
    n = AT_ONCE + 300
    ages, belief = rng.uniform(0, 90_000, n), rng.beta(0.5, 8, n)
    course = courses(belief, onset_from(ages), TEST, RATE, KM_AHEAD, 13)
    assert len(course) == 2
    along(course, prices(n, test=500.0))
    found = along(course, prices(n))
    some = slice(AT_ONCE - 10, AT_ONCE + 10)
    alone = alternatives(belief[some], onset_from(ages[some]), prices(20), TEST, RATE, n_beliefs=13)
    for whole, part in zip(found[1:], alone[1:], strict=True):
        assert whole[some] == pytest.approx(part, rel=1e-12, abs=1e-9, nan_ok=True)
