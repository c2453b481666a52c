"""E-step, score and information against brute force."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.integrate import quad

from models.risk.expectation import Records
from models.risk.lives import checked_lives, rows_of
from models.risk.spread import mixing
from tests.models.risk.published_lives import lives

EDGES = np.linspace(0, 100, 11)
AGES = np.array([5.0, 20.0])


@pytest.fixture
def records():
    """Censored, in a window, in a wide window, exact, and one of unknown age."""
    windows = lives(
        np.array([0.0, 10, 5, 0, 0]),
        np.array([60.0, 20, 12, 33, 10]),
        np.array([np.nan, 37, 88, 33, 25]),
        age_known=[True, True, True, True, False],
    )
    rows = rows_of(checked_lives(windows), AGES)
    return Records(rows, np.array([0, 1, 0, 1, 0, 0]), EDGES)


def per_pair(records, rate, ratio):
    return rate[records.pair_cell] * ratio[records.pair_group]


def table(records, values):
    """Values by pair as a table of groups by cells."""
    out = np.zeros((records.pair_group.max() + 1, records.cells))
    out[records.pair_group, records.pair_cell] = values
    return out


RATE = 0.01 * np.linspace(0.5, 2.0, 10)
RATIO = np.array([1.0, 1.7])


def hazard(age: float, ratio: float = 1.0) -> float:
    return ratio * RATE[min(int(age // 10), 9)]


def cumulative(age: float, ratio: float = 1.0) -> float:
    return ratio * np.sum(RATE * np.clip(age - EDGES[:-1], 0, 10))


def test_log_likelihood_is_that_of_the_windows(records):
    expected = records.expect(per_pair(records, RATE, RATIO))
    one = -cumulative(60)
    two = np.log(1 - np.exp(-cumulative(37, 1.7) + cumulative(20, 1.7)))
    two -= cumulative(20, 1.7) - cumulative(10, 1.7)
    three = np.log(np.exp(-cumulative(12)) - np.exp(-cumulative(88))) + cumulative(5)
    four = np.log(hazard(33, 1.7)) - cumulative(33, 1.7)
    each = [
        (np.exp(-cumulative(a + 10)) - np.exp(-cumulative(a + 25))) / np.exp(-cumulative(a))
        for a in AGES
    ]
    total = one + two + three + four + np.log(np.mean(each))
    assert expected.log_likelihood == pytest.approx(total, rel=1e-12)
    assert expected.weight[4:] == pytest.approx(np.array(each) / np.sum(each))


def test_events_and_exposure_are_conditional_means(records):
    """For the window (20, 37]: events and km in each cell by quadrature over the defect's age."""
    expected = records.expect(per_pair(records, RATE, RATIO))
    inside = quad(lambda u: hazard(u, 1.7) * np.exp(-cumulative(u, 1.7)), 20, 37, points=[30])[0]
    for cell, (low, high) in enumerate([(20, 30), (30, 37)], start=2):
        events = quad(lambda u: hazard(u, 1.7) * np.exp(-cumulative(u, 1.7)), low, high)[0]
        km = quad(lambda u: np.exp(-cumulative(u, 1.7)) - np.exp(-cumulative(37, 1.7)), low, high)
        sure = 10.0 if cell == 2 else 3.0  # km of the life that ends exactly at 33
        assert table(records, expected.events)[1, cell] == pytest.approx(
            events / inside + (cell == 3)
        )
        assert table(records, expected.exposure)[1, cell] == pytest.approx(km[0] / inside + sure)
    assert expected.events.sum() == pytest.approx(4)


def test_score_and_information_are_derivatives_of_the_log_likelihood(records):
    rng = np.random.default_rng(3)
    base, other = rng.normal(size=(10, 3)), rng.normal(size=(2, 2))
    design = np.hstack([base[records.pair_cell], other[records.pair_group]])

    def hazard_at(coef):
        return RATE[records.pair_cell] * np.exp(design @ coef)

    def log_likelihood(coef):
        return records.expect(hazard_at(coef)).log_likelihood

    at = rng.normal(scale=0.1, size=5)
    weight = records.expect(hazard_at(at)).weight
    in_order = np.argsort(records.rows.life, kind="stable")
    rows = records.score_of(hazard_at(at), design)(in_order) * weight[in_order, None]
    score = rows.sum(axis=0)
    step = 1e-4 * np.eye(5)
    numeric = [(log_likelihood(at + h) - log_likelihood(at - h)) / 2e-4 for h in step]
    assert score == pytest.approx(numeric, rel=1e-5)

    information = records.information(hazard_at(at), design, weight)
    life, times = records.rows.life[in_order], records.rows.times[in_order]
    information -= mixing(life, times, rows, weight[in_order])
    hessian = [
        [
            log_likelihood(at + a + b)
            - log_likelihood(at + a - b)
            - log_likelihood(at - a + b)
            + log_likelihood(at - a - b)
            for b in step
        ]
        for a in step
    ]
    assert -information == pytest.approx(np.array(hessian) / 4e-8, rel=1e-3, abs=1e-4)


def test_a_narrow_window_nears_the_exact_age():
    rows = rows_of(checked_lives(lives(np.zeros(1), np.array([33 - 1e-7]), np.array([33.0]))), AGES)
    records = Records(rows, np.zeros(1, int), EDGES)
    expected = records.expect(RATE[records.pair_cell])
    assert table(records, expected.events)[0, 3] == pytest.approx(1)
    assert expected.exposure.sum() == pytest.approx(33)
    exact = np.log(hazard(33)) - cumulative(33)
    assert expected.log_likelihood - np.log(1e-7) == pytest.approx(exact, abs=1e-5)


def test_a_record_of_nothing_but_windows_from_entry_has_a_likelihood():
    windows = lives(np.array([10.0]), np.array([10.0]), np.array([40.0]))
    rows = rows_of(checked_lives(windows), AGES)
    records = Records(rows, np.zeros(1, int), EDGES)
    expected = records.expect(RATE[records.pair_cell])
    assert expected.log_likelihood == pytest.approx(
        np.log(1 - np.exp(cumulative(10) - cumulative(40)))
    )
