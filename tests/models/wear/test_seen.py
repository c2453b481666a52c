"""How steady each session's roughness is: by the middle half of its bins, blanks passed over."""

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from models.wear.seen import BINS_TRUSTED, in_life_order, own_grain, steadiness
from tests.models.wear.simulated_wear import Truth, simulate_wear


@given(st.integers(0, 2**32 - 1), st.floats(0.0, 0.99))
def test_the_middle_half_is_that_of_the_bins_known(seed, blank):
    rng = np.random.default_rng(seed)
    roughness = np.exp(rng.normal(size=(6, 50)))
    roughness[rng.random(roughness.shape) < blank] = np.nan
    roughness[0] = np.nan
    weight = steadiness(roughness, 0.04)
    assert weight[0] == 1.0  # nothing of its own: the usual one
    for own, values in zip(weight[1:, 0], roughness[1:], strict=True):
        count = np.isfinite(values).sum()
        if not count:
            continue
        low, high = np.log(np.nanquantile(values, [0.25, 0.75]))
        ratio = ((high - low) / 1.349) ** 2 / 0.04
        expected = (count + BINS_TRUSTED) / (count * ratio + BINS_TRUSTED)
        assert own == pytest.approx(expected, rel=1e-9)


def test_a_session_that_scatters_twice_as_much_counts_for_less():
    rng = np.random.default_rng(1)
    normal = rng.normal(size=(1, 50))
    calm, wild = (steadiness(np.exp(spread * normal), 0.04)[0, 0] for spread in (0.2, 0.4))
    assert calm > wild


def test_what_comes_back_is_the_correlation_of_tests_that_follow_one_another():
    records = simulate_wear(30, 73_050, Truth(tests=(3, 5))).records
    log = np.log(records.roughness)
    life = records.tests["life_id"].to_numpy()
    order, _ = in_life_order(records)
    pairs = [(a, b) for a, b in pairwise(order) if life[a] == life[b]]
    before, after = (np.concatenate([log[pair[k]] for pair in pairs]) for k in (0, 1))
    sound = (np.abs(before) < 0.5) & (np.abs(after) < 0.5)
    usual = np.corrcoef(before[sound], after[sound])[0, 1]
    assert own_grain(records, order) == pytest.approx(max(usual, 0.0), rel=1e-9)
