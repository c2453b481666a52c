import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from models.wear.schemas import DROPOUT_PLACES, PASS_REACH
from models.wear.test_plan import (
    LiftChance,
    lift_chance,
    passes_needed,
    slow_stretches,
    sureness,
)

CERTAIN = LiftChance(np.array([0.5]), np.array([1.0]), 0, 0)


def sweeps(n, chance, seed=0, passes=6, rate_hz=1000.0):
    """Sessions with one worn spot that lifts with a chance, sampled finely."""
    rng = np.random.default_rng(seed)
    reach, drops = [], []
    for k in range(n):
        spot = rng.uniform(10, 90)
        for p in range(1, passes + 1):
            reach.append((f"B{k}", p, 0.0, 100.0, 30.0, rate_hz))
            if rng.random() < chance:
                drops.append((f"B{k}", spot + 0.2 * rng.standard_normal(), p))
    return (
        pd.DataFrame(drops, columns=DROPOUT_PLACES.names),
        pd.DataFrame(reach, columns=PASS_REACH.names),
    )


def test_nothing_known_is_the_prior():
    lift = lift_chance(DROPOUT_PLACES.empty(), PASS_REACH.empty())
    assert lift.mean == pytest.approx(0.6, abs=0.01)
    assert lift.n_passes == 0


@pytest.mark.parametrize("chance", [0.3, 0.8])
def test_the_chance_is_learnt_without_the_bias_of_having_been_found(chance):
    lift = lift_chance(*sweeps(250, chance))
    low, high = lift.interval()
    assert lift.mean == pytest.approx(chance, abs=0.04)
    assert low < chance < high
    assert lift.n_passes > 400


def test_intervals_hold_the_chance_as_often_as_they_say():
    held = 0
    for seed in range(40):
        low, high = lift_chance(*sweeps(15, 0.6, seed)).interval()
        held += low <= 0.6 <= high
    assert held >= 31


def test_passes_by_hand():
    # a logger of 100 kHz misses nothing: 1 - 0.5^n >= 0.95 first at n = 5
    plan = passes_needed(CERTAIN, 1.0, 100_000.0)
    assert (plan.answer, plan.passes) == ("passes", 5)
    assert plan.speed_pct_per_s == 30.0
    assert plan.reached == pytest.approx(1 - 0.5**5)
    # at 200 Hz a sample falls into 4/5 of 1 to 5 ms and all above: (0.8 + ln(33.3/5)) / ln 33.3
    share = (0.8 + np.log(100 / 15)) / np.log(100 / 3)
    plan = passes_needed(CERTAIN, 1.0, 200.0)
    assert plan.chance_per_pass == pytest.approx(0.5 * share)
    assert plan.passes == 7
    assert sureness(CERTAIN, 1.0, 200.0, 30.0, 7) == pytest.approx(plan.reached)


def test_a_slow_logger_asks_for_a_slow_hand_or_cannot():
    slow = passes_needed(CERTAIN, 1.0, 8.0)
    assert slow.speed_pct_per_s == 8.0
    assert slow.passes == 21
    slower = passes_needed(CERTAIN, 1.0, 8.0, speed_pct_per_s=4.0)
    assert slower.passes < slow.passes
    fast = passes_needed(CERTAIN, 1.0, 8.0, speed_pct_per_s=30.0)
    assert fast.answer == "cannot be reached with this logger"
    assert fast.passes == 0
    assert fast.reached < 0.95


@settings(max_examples=40)
@given(st.floats(0.1, 6.0), st.floats(5.0, 1000.0))
def test_wider_wear_never_needs_more_passes(width, rate):
    lift = lift_chance(DROPOUT_PLACES.empty(), PASS_REACH.empty())
    most = 31
    narrow, wide = (passes_needed(lift, w, rate, 20.0).passes or most for w in (width, 2 * width))
    assert wide <= narrow


def test_promised_passes_do_show_a_simulated_spot():
    lift = lift_chance(*sweeps(250, 0.7))
    plan = passes_needed(lift, 0.8, 200.0)
    rng = np.random.default_rng(4)
    lifted = rng.random((4000, plan.passes)) < 0.7
    longest_ms = 1000 * 0.8 / 30
    length_ms = (
        np.exp(rng.uniform(0.0, np.log(longest_ms), lifted.shape)) * 30 / plan.speed_pct_per_s
    )
    sampled = rng.random(lifted.shape) * 5.0 < length_ms
    assert 0.94 <= (lifted & sampled).any(axis=1).mean() <= 0.99


def test_impossible_questions_are_refused():
    with pytest.raises(ValueError, match="positive"):
        passes_needed(CERTAIN, 0.0, 200.0)


def test_slow_stretches_hold_the_wear_and_may_lie_at_a_stop():
    share = np.full(50, 0.002)
    share[0:2], share[20:23] = 0.3, 0.1
    first, second = slow_stretches(share, held=0.85)[:2]
    assert first[:2] == (0.0, 4.0)
    assert second[:2] == (40.0, 46.0)
    assert first[2] > second[2]


def test_even_wear_asks_for_the_travel():
    stretches = slow_stretches(np.full(50, 0.02))
    assert sum(b - a for a, b, _ in stretches) >= 75.0
