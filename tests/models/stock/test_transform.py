"""The transform against the recursion, published values and its own bounds."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import poisson_binom

from models.stock import poisson_binomial as exact
from models.stock.poisson_binomial import poisson_binomial
from models.stock.transform import by_transform

CHANCES = st.lists(
    st.one_of(st.sampled_from([0.0, 1e-300, 1e-9, 0.5, 1.0]), st.floats(0, 1)),
    min_size=1,
    max_size=60,
).map(np.array)


def test_three_sensors_by_hand():
    found = by_transform(np.array([[0.1], [0.2], [0.3]]), None, 4, 4)
    assert np.cumsum(found[0]) == pytest.approx([0.504, 0.902, 0.994, 1.0], abs=1e-15)


@given(CHANCES, st.integers(0, 1000), st.booleans())
def test_it_agrees_with_the_recursion(p, seed, again):
    q = p * np.random.default_rng(seed).random(len(p)) if again else None
    largest = 2 if again else 1
    size = largest * len(p) + 1
    expected = poisson_binomial(p, twice=q, size=size).pmf[0]
    found = by_transform(p[:, None], None if q is None else q[:, None], size, size)
    assert found.min() >= 0
    assert found[0] == pytest.approx(expected, abs=1e-14)


@pytest.mark.parametrize("seed", range(3))
def test_large_groups_agree_with_scipy_and_with_the_recursion(seed, monkeypatch):
    rng = np.random.default_rng(seed)
    p = np.clip(rng.beta(0.3, 2.0, (1_200, 1, 1)) * rng.lognormal(0, 0.2, (1, 2, 2)), 0, 1)
    p[rng.random(1_200) < 0.02] = 1.0
    found = poisson_binomial(p)
    assert found.mean.max() > 100
    for d, k in np.ndindex(2, 2):
        expected = poisson_binom.pmf(np.arange(found.pmf.shape[-1]), p[:, d, k])
        assert found.pmf[0, d, k] == pytest.approx(expected, abs=1e-13)
    monkeypatch.setattr(exact, "_MANY", len(p))
    slow = poisson_binomial(p, twice=p * 0.01)
    monkeypatch.setattr(exact, "_MANY", 100)
    quick = poisson_binomial(p, twice=p * 0.01)
    assert quick.pmf == pytest.approx(slow.pmf, abs=1e-14)
    assert quick.back_orders == pytest.approx(slow.back_orders, abs=1e-10)
    assert quick.mean == pytest.approx(slow.mean)


def one_by_one(p, q, length, size):
    """The same product with every sensor's term taken at every frequency by itself."""
    w = np.exp(-2j * np.pi * np.arange(length // 2 + 1) / length)
    terms = 1 - p[..., None] + (p - q)[..., None] * w + q[..., None] * w**2
    return np.fft.irfft(terms.prod(axis=0), n=length, axis=-1)[:, :size]


@pytest.mark.parametrize("again", [False, True])
@pytest.mark.parametrize("n", [1, 7, 8, 9, 511, 513, 1_300])
def test_eights_multiplied_out_give_what_single_terms_give(n, again):
    rng = np.random.default_rng(n)
    p = np.clip(rng.beta(0.3, 4.0, (n, 1)) * rng.lognormal(0, 0.3, (n, 3)), 0, 1)
    p[rng.random(n) < 0.1] = 1.0
    q = p * rng.random((n, 1)) * again
    length = 2 * n + 1
    found = by_transform(p, q if again else None, length, length)
    assert found == pytest.approx(one_by_one(p, q, length, length), abs=1e-13)
    assert found.sum(axis=1) == pytest.approx(1.0, abs=1e-12)


@pytest.mark.parametrize("again", [False, True])
def test_equal_horizons_are_counted_once(again, monkeypatch):
    counted = []

    def spied(*values):
        counted.append(values)
        return by_transform(*values)

    monkeypatch.setattr(exact, "by_transform", spied)
    rng = np.random.default_rng(4)
    p = rng.random((150, 2, 1)) * np.array([0.3, 0.3, 0.5])
    q = p * 0.1
    q[0, 0, 1] *= 0.5  # alike in who asks, not in who asks twice
    found = poisson_binomial(p, twice=q if again else None)
    assert len(counted) == (3 if again else 2)
    monkeypatch.setattr(exact, "_MANY", 150)
    slow = poisson_binomial(p, twice=q if again else None)
    assert found.pmf == pytest.approx(slow.pmf, abs=1e-14)


def test_groups_large_and_small_stand_side_by_side(monkeypatch):
    rng = np.random.default_rng(1)
    p, group = rng.random((180, 3, 2)), np.repeat([0, 2, 3], [120, 59, 1])
    found = poisson_binomial(p, group, 4, size=181)
    monkeypatch.setattr(exact, "_MANY", 1_000)
    assert found.pmf == pytest.approx(poisson_binomial(p, group, 4, size=181).pmf, abs=1e-14)
    assert found.pmf[1, ..., 0] == pytest.approx(1.0)


def test_sensors_of_which_none_asks_and_of_which_all_do():
    assert by_transform(np.zeros((200, 1)), None, 8, 4)[0] == pytest.approx([1, 0, 0, 0])
    sure = poisson_binomial(np.ones(200), size=201).pmf[0]
    assert sure[200] == pytest.approx(1.0, abs=1e-13)
    assert sure[:200] == pytest.approx(np.zeros(200), abs=1e-13)
