import numpy as np
import pytest

from models.wear import strays as module
from models.wear.strays import stray_rate


def test_the_rate_is_read_where_nothing_wears():
    rng = np.random.default_rng(0)
    reach = np.full((2000, 50), 20.0)
    own = rng.poisson(2e-4 * reach).astype(float)
    own[:100, 8:10] += rng.poisson(10.0, (100, 2))
    strays, chance = stray_rate(own, reach)
    assert strays.rate == pytest.approx(2e-4, rel=0.3)
    assert chance[:100, 8:10].max() == 0.0
    lone = (own == 1.0) & (chance > 0)
    assert chance[lone].mean() > 0.7
    low, high = strays.interval(0.90)
    assert low < strays.rate < high


def test_a_spot_that_comes_back_is_no_stray():
    own = np.zeros((1, 50))
    own[0, 20] = 3.0
    assert stray_rate(own, np.ones((1, 50)))[1].sum() == 0.0


def test_neighbouring_drop_outs_are_no_strays():
    own = np.zeros((1, 50))
    own[0, [20, 22]] = 1.0
    assert stray_rate(own, np.ones((1, 50)))[1].sum() == 0.0


@pytest.mark.parametrize("at_once", [1, 7])
def test_it_is_the_same_however_many_sensors_are_looked_at_at_a_time(at_once, monkeypatch):
    rng = np.random.default_rng(3)
    reach = np.full((50, 50), 20.0)
    own = rng.poisson(2e-3 * reach).astype(float)
    usual, chance = stray_rate(own, reach)
    assert 0 < (chance > 0).sum() < (own > 0).sum()
    monkeypatch.setattr(module, "_SENSORS_AT_ONCE", at_once)
    by_parts, same = stray_rate(own, reach)
    assert by_parts == usual
    assert (same == chance).all()
