"""How far the coefficients may lie is worked out some lives at a time, whatever their number."""

import numpy as np
import pytest

from models.risk import expectation, grid_parts, spread
from models.risk.hazard import DefectHazard
from tests.models.risk.wearing_fleet import simulate_wearing_fleet


@pytest.fixture(scope="module")
def windows():
    return simulate_wearing_fleet(60, 2).windows


def test_it_is_the_same_however_many_lives_are_looked_at_at_a_time(windows, monkeypatch):
    """Lives of several rows stand across the ends of parts."""
    assert not windows["age_known"].astype(bool).all()
    usual = DefectHazard().fit(windows)
    monkeypatch.setattr(grid_parts, "_SPANS_AT_ONCE", 7)
    monkeypatch.setattr(expectation, "_ROWS_AT_ONCE", 5)
    by_parts = DefectHazard().fit(windows)
    assert np.abs(usual.covariance_).max() > 0
    np.testing.assert_allclose(by_parts.covariance_, usual.covariance_, rtol=1e-9, atol=1e-12)


def test_where_each_life_has_one_row_none_is_lost():
    lost = spread.mixing(np.arange(4), np.ones(4), np.ones((4, 2)), np.ones(4))
    assert (lost == 0).all()


def test_of_two_rows_that_may_be_true_their_spread_is_lost():
    """By hand: with the weight w on a score a and 1 - w on b, w (1 - w) (a - b) squared."""
    weight, score = np.array([0.3, 0.7, 1.0]), np.array([[2.0], [-1.0], [9.0]])
    lost = spread.mixing(np.array([0, 0, 1]), np.ones(3), score * weight[:, None], weight)
    assert lost == pytest.approx(np.array([[0.3 * 0.7 * 3.0**2]]))
