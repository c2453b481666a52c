"""What is asked of a distribution of counts."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import nbinom, poisson

from models.stock.counts import CountDistribution, negative_binomial

K = np.arange(80)


def poisson_of(mean):
    return CountDistribution(poisson.pmf(K, mean), np.array(mean))


def test_back_orders_of_a_poisson_number():
    # Poisson(4): .195435, .084761 and .033627 at 6, 7 and 8; confirmed against the sum itself
    back = poisson_of(4.0).back_orders
    assert back[6:9] == pytest.approx([0.195435, 0.084761, 0.033627], abs=1e-6)
    direct = [np.sum(np.maximum(K - level, 0) * poisson.pmf(K, 4)) for level in range(20)]
    assert back[:20] == pytest.approx(direct, abs=1e-12)


def test_the_sum_of_two_is_their_convolution():
    total = poisson_of(1.5).plus(poisson_of(2.5))
    assert total.pmf[:30] == pytest.approx(poisson.pmf(np.arange(30), 4.0))
    assert total.mean == pytest.approx(4.0)


@given(st.floats(0.01, 20), st.integers(0, 30))
def test_what_lies_beyond_a_stock_keeps_chance_and_mean(mean, level):
    left = poisson_of(mean).beyond(level)
    assert left.pmf.sum() == pytest.approx(1.0)
    assert left.pmf @ K == pytest.approx(float(left.mean), abs=1e-9)
    assert left.pmf[0] == pytest.approx(poisson.cdf(level, mean))


@pytest.mark.parametrize(("shape", "mean"), [(0.5, 0.1), (1.0, 3.0), (20.0, 7.0)])
def test_gamma_mixed_poisson_numbers_are_negative_binomial(shape, mean):
    found = negative_binomial(np.array(shape), np.array(mean), 40)
    expected = nbinom.pmf(np.arange(40), shape, shape / (shape + mean))  # scipy.stats.nbinom
    assert found.pmf == pytest.approx(expected, rel=1e-10)


def test_mixing_over_fits_widens_what_one_fit_gives():
    fits = CountDistribution(poisson.pmf(K, [[2.0], [6.0]]), np.array([2.0, 6.0]))
    mixed = fits.mixed(axis=0)
    variance = mixed.pmf @ (K - 4.0) ** 2
    # law of total variance: 4 within, 4 between
    assert mixed.mean == pytest.approx(4.0)
    assert variance == pytest.approx(8.0)


def test_quantiles_are_the_least_that_reach():
    found = poisson_of(4.0)
    assert [int(found.quantile(q)) for q in (0.05, 0.5, 0.95)] == poisson.ppf(
        [0.05, 0.5, 0.95], 4
    ).tolist()
