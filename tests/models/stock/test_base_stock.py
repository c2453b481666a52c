"""Levels for a filled share and for costs, against handbook values and limits."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import norm, poisson

from models.stock.base_stock import (
    ReviewCycle,
    base_stock_for_share,
    least_for_costs,
    least_for_share,
    newsvendor_level,
)
from models.stock.counts import CountDistribution

K = np.arange(120)
ONE = np.array([1])


def poissons(*means):
    return CountDistribution(poisson.pmf(K, np.array(means)[:, None]), np.array(means))


def cycle(lead, end, early=0, late=None, due=None):
    due = lead if due is None else due
    late = early if late is None else late
    needs = poissons(lead, due, end)
    whole = CountDistribution(needs.pmf[None], needs.mean[None])
    return ReviewCycle(whole, np.array([early]), np.array([late]))


def test_poisson_of_four_by_both_readings_of_95_in_100():
    # 8 for P(D <= S) >= .95, 6 for a filled share of .95: Poisson tables, recomputed here
    found = poissons(4.0)
    assert found.quantile(0.95).tolist() == [8]
    assert poisson.cdf([7, 8], 4) == pytest.approx([0.948866, 0.978637], abs=1e-6)
    assert base_stock_for_share(found, 0.95).tolist() == [6]


def test_newsvendor_with_60_against_15():
    # ratio .8: N(100, 20) gives 116.832425 (scipy.stats.norm), Poisson(4) gives 6
    assert norm.ppf(60 / 75, 100, 20) == pytest.approx(116.832425, abs=1e-6)
    assert newsvendor_level(poissons(4.0), 60, 15).tolist() == [6]
    many = np.arange(220)
    wide = CountDistribution(norm.cdf(many + 0.5, 100, 20) - norm.cdf(many - 0.5, 100, 20), 100.0)
    assert newsvendor_level(wide, 60, 15) == 117  # the normal level to the next whole part


def test_without_a_lead_time_the_cycle_is_the_common_formula():
    assert least_for_share(cycle(0.0, 4.0), 0.95, ONE).tolist() == [6]
    ratio = 60 / (60 + 120 * 0.25 * 7 / 365.25)
    costs = {"review_days": 7, "holding_cost_share_per_year": 0.25, "shortage_cost": 60.0}
    found = least_for_costs(cycle(0.0, 4.0), np.array([120.0]), pack_size=ONE, **costs)
    assert found.tolist() == [int(poisson.ppf(ratio, 4.0))]


def test_with_a_lead_time_the_common_formula_promises_too_much():
    # 3 of the 4 parts are asked for before the order comes: the shortages fall on the last one
    level = 6
    over_both = 1 - poissons(4.0).back_orders[0, level] / 4.0
    in_cycle = cycle(3.0, 4.0).filled(np.array([level]))[0, 0]
    rng = np.random.default_rng(0)
    before, after = rng.poisson(3.0, 400_000), rng.poisson(1.0, 400_000)
    there = np.maximum(level - before, 0)
    simulated = np.minimum(there, after).sum() / after.sum()
    assert in_cycle == pytest.approx(simulated, abs=0.003)
    assert over_both > in_cycle + 0.08
    assert least_for_share(cycle(3.0, 4.0), 0.95, ONE)[0] > base_stock_for_share(
        poissons(4.0), 0.95
    )


def test_parts_due_within_the_cycle_count_from_their_day_on():
    early = cycle(2.0, 4.0, 0, 3, due=2.0)
    amid = cycle(2.0, 4.0, 0, 3, due=3.0)
    late = cycle(2.0, 4.0, 0, 3, due=4.0)
    never = cycle(2.0, 4.0, 0)
    more = np.array([2])
    filled = [c.filled(more)[0, 0] for c in (early, amid, late, never)]
    assert filled == sorted(filled, reverse=True)
    assert filled[0] > filled[1] > filled[2]
    # due on the last day they serve nothing of the cycle
    assert filled[2] == pytest.approx(filled[3])


@given(
    st.floats(0, 10),
    st.floats(0.05, 10),
    st.integers(0, 15),
    st.floats(0.5, 0.98),
    st.floats(0.001, 0.019),
    st.integers(1, 4),
)
def test_a_higher_target_never_asks_for_less(lead, cycle_mean, there, target, more, pack):
    packs = np.array([pack])
    one = cycle(lead, lead + cycle_mean, there)
    low = least_for_share(one, target, packs)[0]
    high = least_for_share(one, target + more, packs)[0]
    assert 0 <= low <= high
    assert one.filled(np.array([low * pack]))[0, 0] >= target - 1e-9
    if low:
        assert one.filled(np.array([(low - 1) * pack]))[0, 0] < target


@given(st.floats(0, 8), st.floats(0.1, 8), st.integers(0, 10))
def test_missed_parts_fall_as_stock_rises(lead, cycle_mean, there):
    one = cycle(lead, lead + cycle_mean, there)
    missed = one.missed(np.arange(-5, 20))[0]
    assert np.all(np.diff(missed) <= 1e-9)
    assert missed[0] <= cycle_mean + 1e-9


@given(st.floats(1, 200), st.floats(1, 200))
def test_a_dearer_shortage_never_asks_for_less(low, more):
    one = cycle(2.0, 5.0)
    costs = {"review_days": 7, "holding_cost_share_per_year": 0.25, "pack_size": ONE}
    found = [
        least_for_costs(one, np.array([120.0]), shortage_cost=cost, **costs)[0]
        for cost in (low, low + more)
    ]
    assert found[0] <= found[1]


def test_a_cheaper_level_is_the_least_of_all_costs():
    one, price = cycle(2.0, 5.0, 1), 120.0
    keep = price * 0.25 * 7 / 365.25
    found = least_for_costs(
        one,
        np.array([price]),
        review_days=7,
        holding_cost_share_per_year=0.25,
        shortage_cost=60.0,
        pack_size=np.array([2]),
    )[0]
    cost = []
    for packs in range(12):
        level = 1 + 2 * packs
        left = np.sum(np.maximum(level - K, 0) * poisson.pmf(K, 5.0))
        cost.append(keep * left + 60.0 * one.missed(np.array([2 * packs]))[0, 0])
    assert found == int(np.argmin(cost))


def test_a_cycle_with_parts_due_within_it_by_simulation():
    rng = np.random.default_rng(4)
    lead, due, end = (rng.poisson(m, 300_000) for m in (2.0, 1.5, 1.0))
    ordered, early, late = 2, 1, 3
    shelf = early + ordered - lead  # below 0: riders wait
    first = np.clip(shelf, 0, due)
    shelf = shelf - due + late - early
    second = np.clip(shelf, 0, end)
    simulated = (first + second).sum() / (due + end).sum()
    found = cycle(2.0, 4.5, early, late, due=3.5).filled(np.array([ordered]))[0, 0]
    assert found == pytest.approx(simulated, abs=0.003)
