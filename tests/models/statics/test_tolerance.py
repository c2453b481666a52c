import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import norm

from models.statics.tolerance import (
    howe_factor,
    one_sided_factor,
    sample_size_needed,
    trimmed_gaps,
    two_sided_factor,
)

# NIST/SEMATECH e-Handbook of Statistical Methods, 7.2.6.3: wafers, n = 43, coverage 0.90,
# confidence 0.99. The exact two-sided value is quoted there from dedicated software.
HANDBOOK = {"coverage": 0.90, "confidence": 0.99}


def test_one_sided_factor_matches_the_handbook():
    assert one_sided_factor(43, **HANDBOOK) == pytest.approx(1.8740, abs=6e-5)


def test_two_sided_factor_matches_the_handbook():
    assert two_sided_factor(43, **HANDBOOK) == pytest.approx(2.2228, abs=5e-5)


def test_howe_matches_the_handbook():
    assert howe_factor(43, **HANDBOOK) == pytest.approx(2.217, abs=5e-4)


@pytest.mark.parametrize(
    ("sides", "coverage", "needed"), [(1, 0.95, 59), (2, 0.95, 93), (1, 0.99, 299), (2, 0.99, 473)]
)
def test_sample_sizes_of_wilks(sides, coverage, needed):
    """59 and 93 are stated in the requirement; 299 and 473 from memory of the usual tables."""
    assert sample_size_needed(sides=sides, coverage=coverage) == needed


def test_one_sided_need_is_the_closed_form():
    assert sample_size_needed(sides=1) == np.ceil(np.log(0.05) / np.log(0.95))


@pytest.mark.parametrize("factor", [two_sided_factor, howe_factor])
def test_two_sided_factors_tend_to_the_normal_quantile(factor):
    assert factor(1_000_000) == pytest.approx(norm.ppf(0.975), abs=5e-3)


def test_one_sided_factor_tends_to_the_normal_quantile():
    assert one_sided_factor(100_000) == pytest.approx(norm.ppf(0.95), abs=0.02)


@given(
    n=st.integers(5, 300),
    coverage=st.floats(0.5, 0.99),
    confidence=st.floats(0.6, 0.99),
)
@settings(max_examples=60)
def test_howe_stays_close_to_exact(n, coverage, confidence):
    """Howe's approximation is good to a few per cent from n = 5 on."""
    shares = {"coverage": coverage, "confidence": confidence}
    assert howe_factor(n, **shares) == pytest.approx(two_sided_factor(n, **shares), rel=0.06)


@pytest.mark.parametrize(("n", "coverage", "confidence"), [(5, 0.95, 0.95), (20, 0.9, 0.8)])
def test_normal_interval_holds_its_promise_in_simulation(n, coverage, confidence):
    draws = np.random.default_rng(20260314).normal(size=(40_000, n))
    mean, sd = draws.mean(axis=1), draws.std(axis=1, ddof=1)
    reach = two_sided_factor(n, coverage=coverage, confidence=confidence) * sd
    held = norm.cdf(mean + reach) - norm.cdf(mean - reach)
    assert (held >= coverage).mean() == pytest.approx(confidence, abs=0.008)


@pytest.mark.parametrize(("n", "gaps"), [(92, 0), (93, 1), (152, 1), (153, 2), (1000, 19)])
def test_gaps_left_out(n, gaps):
    assert trimmed_gaps(n) == gaps


@pytest.mark.parametrize("n", [93, 160, 400])
def test_order_statistics_hold_their_promise_in_simulation(n):
    """Uniform draws: the share held is the distance between the two order statistics."""
    draws = np.sort(np.random.default_rng(7).random((20_000, n)), axis=1)
    gaps = trimmed_gaps(n)
    held = draws[:, n - gaps] - draws[:, gaps - 1]
    assert (held >= 0.95).mean() >= 0.945


def test_demands_are_named():
    with pytest.raises(ValueError, match="at least 2 values, got 1"):
        two_sided_factor(1)
    with pytest.raises(ValueError, match="coverage must lie between 0 and 1"):
        one_sided_factor(10, coverage=1.0)
    with pytest.raises(ValueError, match="sides must be 1 or 2"):
        sample_size_needed(sides=3)
