from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from models.risk.about_estimate import about_estimate

AGES = np.linspace(0.0, 60_000.0, 13)


def curves(levels):
    return np.exp(-np.outer(levels, (AGES / 40_000.0) ** 2))


def test_draws_that_lie_high_are_moved_about_the_estimate():
    moved = about_estimate(curves([1.0, 1.5, 2.0, 3.0]))
    # their middle is 2, the estimate 1: half of each
    np.testing.assert_allclose(moved, curves([1.0, 0.75, 1.0, 1.5]))


def test_draws_about_the_estimate_stay_where_they_are():
    given_curves = curves([1.0, 0.8, 1.0, 1.4])
    np.testing.assert_allclose(about_estimate(given_curves), given_curves)


def test_an_estimate_alone_is_returned_as_it_is():
    alone = curves([1.0])
    assert about_estimate(alone) is alone


@given(st.lists(st.floats(0.01, 50.0), min_size=2, max_size=9))
def test_curves_start_at_one_and_never_rise(levels):
    moved = about_estimate(curves(levels))
    assert moved[:, 0] == pytest.approx(1.0)
    assert (np.diff(moved, axis=1) <= 1e-12).all()
    assert ((moved >= 0) & (moved <= 1)).all()


def test_the_curves_interval_lies_about_its_estimate():
    """Draws that lie higher in hazard than the estimate: what counts is how far they spread."""
    estimate, ages = np.array([0.0, 0.2, 0.8]), 3
    factor = 1.3 * np.exp(0.3 * np.random.default_rng(1).standard_normal(2_000))
    survival = np.exp(-np.vstack([estimate, factor[:, None] * estimate]))
    low, high = np.quantile(about_estimate(survival)[1:], [0.05, 0.95], axis=0)
    assert low[0] == high[0] == pytest.approx(1.0)
    assert len(low) == ages
    assert -np.log(low[1:]) == pytest.approx(estimate[1:] * np.exp(1.645 * 0.3), rel=0.05)
    assert -np.log(high[1:]) == pytest.approx(estimate[1:] * np.exp(-1.645 * 0.3), rel=0.05)
