"""Dwell and sliding by hand, against a fine interpolation, and told apart on simulated bikes."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from models.simulate.rides import throttle
from models.wear.dwell import dwell_or_sliding, pooled_pattern, throttle_usage, usage_by_bike


def test_a_held_throttle_dwells_in_one_bin_and_slides_nowhere():
    usage = throttle_usage(np.arange(10.0), np.full(10, 17.0))
    assert usage.dwell[8] == 1.0
    assert usage.sliding.sum() == 0.0
    assert (usage.logged_s, usage.moved_pct, usage.rate_hz) == (9.0, 0.0, 1.0)


def test_one_even_stroke_spreads_both_evenly():
    usage = throttle_usage(np.array([0.0, 1.0, 2.0]), np.array([0.0, 50.0, 100.0]))
    assert usage.dwell == pytest.approx(np.full(50, 0.02))
    assert usage.sliding == pytest.approx(np.full(50, 0.02))
    assert usage.moved_pct == pytest.approx(100.0)


def test_trembling_slides_much_in_the_time_in_which_another_place_is_held():
    t = np.arange(201.0)
    at = np.where(t < 100, 10.5 + 0.4 * (-1.0) ** t, 60.5)
    usage = throttle_usage(t, at)
    assert usage.dwell[5] == pytest.approx(0.5, abs=0.01)
    assert usage.dwell[30] == pytest.approx(0.5, abs=0.01)
    assert usage.sliding[5] > 10 * usage.sliding[30]


def test_gaps_and_blanks_count_for_nothing():
    t = np.array([0.0, 1.0, 2.0, 60.0, 61.0, 62.0, 63.0])
    at = np.array([10.0, 10.0, 10.0, 80.0, 80.0, np.nan, 80.0])
    usage = throttle_usage(t, at)
    assert usage.logged_s == 3.0
    assert usage.gap_s == 60.0
    assert usage.sliding.sum() == 0.0


def test_nothing_in_nothing_out():
    assert throttle_usage(np.array([]), np.array([])).dwell.sum() == 0.0
    with pytest.raises(ValueError, match="one length"):
        throttle_usage(np.arange(3.0), np.arange(2.0))


@settings(max_examples=30)
@given(st.integers(0, 10_000), st.sampled_from([0.5, 2.0, 10.0]))
def test_both_are_what_a_fine_interpolation_gives(seed, rate_hz):
    rng = np.random.default_rng(seed)
    t = np.arange(40) / rate_hz
    at = np.clip(50 + np.cumsum(rng.normal(0, 8, 40)), 0, 100)
    usage = throttle_usage(t, at)
    assert usage.dwell.sum() == pytest.approx(1.0)
    fine = np.interp(np.linspace(t[0], t[-1], 39 * 500 + 1), t, at)
    middle = (fine[1:] + fine[:-1]) / 2
    dwell = np.histogram(middle, np.arange(51) * 2.0)[0] / len(middle)
    moved = np.histogram(middle, np.arange(51) * 2.0, weights=np.abs(np.diff(fine)))[0]
    assert np.abs(usage.dwell - dwell).max() < 0.005
    assert np.abs(usage.sliding - moved / moved.sum()).max() < 0.005
    assert usage.moved_pct == pytest.approx(np.abs(np.diff(at)).sum())


def test_the_rate_of_the_log_hardly_matters_to_dwell():
    at = throttle(np.random.default_rng(1), "commute", 3600)
    all_of_it, a_third = throttle_usage(np.arange(3600.0), at), throttle_usage(
        np.arange(0, 3600, 3.0), at[::3]
    )  # fmt: skip
    assert np.abs(all_of_it.dwell - a_third.dwell).sum() < 0.15
    assert a_third.moved_pct < all_of_it.moved_pct


def test_rides_of_a_bike_are_put_together_by_their_length():
    rides = pd.DataFrame(
        {
            "unit_id": ["U"] * 6,
            "started_at": ["a"] * 2 + ["b"] * 4,
            "t_s": [0.0, 1.0, 0.0, 1.0, 2.0, 3.0],
            "travel_pct": [5.0, 5.0, 21.0, 21.0, 21.0, 21.0],
        }
    )
    usage = usage_by_bike(rides)["U"]
    assert usage.dwell[[2, 10]].tolist() == [0.25, 0.75]


def bikes(n, cause, seed=0):
    """Bikes whose wear follows the dwell or the sliding of their own throttle."""
    rng = np.random.default_rng(seed)
    dwell, sliding, counts = [], [], []
    for _ in range(n):
        still, moving = rng.uniform(10, 40), rng.uniform(50, 90)
        at = np.where(np.arange(400) % 40 < 28, still, moving + 6 * rng.standard_normal(400))
        usage = throttle_usage(np.arange(400) / 4.0, np.clip(at, 0, 100))
        chance = {"dwell": usage.dwell, "sliding": usage.sliding}.get(cause, np.full(50, 0.02))
        spot = rng.choice(50, p=chance)
        near = np.clip(spot + rng.integers(-1, 2, 12), 0, 49)
        dwell.append(usage.dwell)
        sliding.append(usage.sliding)
        counts.append(np.bincount(near, minlength=50))
    return np.array(dwell), np.array(sliding), np.array(counts, float), np.full((n, 50), 6.0)


@pytest.mark.parametrize("cause", ["dwell", "sliding"])
def test_the_cause_is_found(cause):
    found = dwell_or_sliding(*bikes(25, cause))
    assert found.answer == cause
    assert found.over_even > 0
    assert found.n_bikes == 25


def test_wear_that_follows_neither_is_not_decided():
    answers = [dwell_or_sliding(*bikes(25, "even", seed)).answer for seed in range(6)]
    assert answers.count("cannot be decided") >= 4


def test_few_bikes_decide_nothing():
    found = dwell_or_sliding(*bikes(5, "dwell"))
    assert found.answer == "not enough known"
    assert np.isnan(found.difference)


def test_a_pattern_without_a_log_has_its_spread():
    pooled = np.ones(50)
    pooled[8] = 51.0
    pattern = pooled_pattern(pooled, np.full(50, 0.5))
    assert pattern["share"].sum() == pytest.approx(1.0)
    assert (pattern["share_low"] < pattern["share"]).all()
    assert pattern["share_high"].max() <= 1.0
