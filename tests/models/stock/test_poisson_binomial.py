"""The exact distribution against published values, scipy and brute force."""

import itertools

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import binom, poisson_binom

from models.stock.poisson_binomial import counts_needed, poisson_binomial

CHANCES = st.lists(st.floats(0, 1), min_size=1, max_size=25).map(np.array)


def test_three_sensors_by_hand():
    # (1-.1)(1-.2)(1-.3) = .504 and so on; the values the task names
    found = poisson_binomial(np.array([0.1, 0.2, 0.3]))
    assert found.cdf[0] == pytest.approx([0.504, 0.902, 0.994, 1.0], abs=1e-15)
    assert found.mean[0] == pytest.approx(0.6)


@pytest.mark.parametrize("seed", range(8))
def test_random_sets_agree_with_scipy(seed):
    rng = np.random.default_rng(seed)
    p = rng.beta(0.4, 3.0, size=rng.integers(2, 120))
    found = poisson_binomial(p, size=len(p) + 1)
    expected = poisson_binom.pmf(np.arange(len(p) + 1), p)  # scipy.stats.poisson_binom
    assert found.pmf[0] == pytest.approx(expected, abs=1e-13)


def test_equal_chances_are_binomial_far_into_the_tail():
    found = poisson_binomial(np.full(60, 0.03), size=61)
    # relative accuracy where a Fourier transform would have left 1e-16 of noise
    assert found.pmf[0] == pytest.approx(binom.pmf(np.arange(61), 60, 0.03), rel=1e-11)


@given(CHANCES)
def test_sums_to_one_with_the_mean_and_variance_of_independent_sensors(p):
    found = poisson_binomial(p, size=len(p) + 1)
    k = np.arange(len(p) + 1)
    assert found.pmf[0].min() >= 0
    assert found.pmf[0].sum() == pytest.approx(1.0)
    assert found.pmf[0] @ k == pytest.approx(p.sum(), abs=1e-9)
    assert found.pmf[0] @ (k - p.sum()) ** 2 == pytest.approx((p * (1 - p)).sum(), abs=1e-9)
    assert found.mean[0] == pytest.approx(p.sum())


@given(CHANCES, st.integers(1, 10))
def test_stopping_early_leaves_the_lower_chances_as_they_are(p, size):
    whole = poisson_binomial(p, size=len(p) + 1).pmf[0]
    assert poisson_binomial(p, size=size).pmf[0] == pytest.approx(
        np.pad(whole, (0, 12))[:size], abs=1e-15
    )


@given(CHANCES)
def test_less_than_the_tail_lies_beyond_the_counts_kept(p):
    assert poisson_binomial(p).pmf[0].sum() >= 1 - 1e-11
    assert counts_needed(np.array(4.0)) < 60


def test_groups_draws_and_horizons_stand_side_by_side():
    rng = np.random.default_rng(3)
    p, group = rng.random((30, 4, 2)), rng.integers(0, 5, 30)
    together = poisson_binomial(p, group, 7, size=31)
    assert together.pmf.shape == (7, 4, 2, 31)
    for g, d, h in itertools.product(range(7), range(4), range(2)):
        alone = poisson_binomial(p[group == g, d, h], size=31)
        assert together.pmf[g, d, h] == pytest.approx(alone.pmf[0], abs=1e-14)
    assert together.pmf[6, ..., 0] == pytest.approx(1.0)  # no sensor, no need


def test_a_sensor_may_ask_twice():
    p, q = np.array([0.5, 0.2]), np.array([0.1, 0.2])
    found = poisson_binomial(p, twice=q)
    one, two = np.array([0.5, 0.4, 0.1]), np.array([0.8, 0.0, 0.2])
    assert found.pmf[0][:5] == pytest.approx(np.convolve(one, two))
    assert found.mean[0] == pytest.approx(1.0)


@pytest.mark.parametrize(("p", "q"), [([1.2], None), ([np.nan], None), ([0.2], [0.3])])
def test_what_is_no_chance_is_refused(p, q):
    with pytest.raises(ValueError, match="chance"):
        poisson_binomial(np.array(p), twice=None if q is None else np.array(q))
