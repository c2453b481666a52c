"""The exact method against every plan there is, and the search against the exact method."""

from __future__ import annotations

from itertools import product

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from models.check_plan import search
from models.check_plan.case import ShopCase, broken_limits, value_of
from models.check_plan.exact import best_plan
from models.check_plan.prices import find_prices
from models.check_plan.search import good_plan
from models.check_plan.solve import solve
from tests.models.check_plan.random_cases import any_case, random_case


def best_of_all(case: ShopCase) -> float:
    """What the best of all plans saves, each weighed in turn."""
    n_days = len(case.bay_hours)
    ways = [
        [(-1, -1), *product(np.flatnonzero(case.bike == bike).tolist(), range(n_days))]
        for bike in range(len(case.depot))
    ]
    best = 0.0
    for chosen in product(*ways):
        choice, day = np.array(chosen).T
        if not broken_limits(case, choice, day):
            best = max(best, value_of(case, choice, day))
    return best


@pytest.mark.parametrize("seed", range(12))
def test_the_exact_method_finds_the_best_of_all_plans(seed):
    rng = np.random.default_rng(seed)
    case = random_case(rng, 4, 3, 2, 1.0, windows=seed % 2 == 0, two_sensors=0.3)
    found = best_plan(case)
    assert not broken_limits(case, found.choice, found.day)
    assert found.value == pytest.approx(best_of_all(case), abs=1e-6)


@pytest.mark.parametrize("seed", range(8))
def test_the_search_comes_within_two_in_a_hundred_of_the_best(seed):
    rng = np.random.default_rng(1_000 + seed)
    case = random_case(rng, 18, 10, int(rng.integers(0, 4)), 2.0)
    best, found = best_plan(case, gap=1e-4), good_plan(case)
    assert found.value >= 0.98 * best.value
    assert found.at_most >= best.value - 1e-6


@pytest.mark.parametrize("seed", [96, 276, 289])
def test_a_depot_whose_days_must_change_together_is_planned_within_two_in_a_hundred(seed):
    case = any_case(seed)
    assert good_plan(case).value >= 0.98 * best_plan(case, gap=1e-4).value


def test_prices_bound_what_any_plan_saves():
    case = random_case(np.random.default_rng(5), 10, 6, 2, 1.0)
    best = best_plan(case)
    for steps in (1, 20, 200):
        assert find_prices(case, reached=0.0, steps=steps).at_most >= best.value - 1e-6


@settings(max_examples=25)
@given(
    seed=st.integers(0, 10_000),
    bikes=st.integers(1, 25),
    days=st.integers(1, 12),
    depots=st.integers(0, 3),
    hours=st.sampled_from([0.0, 0.5, 1.0, 2.0]),
)
def test_a_plan_keeps_every_limit_and_never_costs_more_than_none(seed, bikes, days, depots, hours):
    case = random_case(np.random.default_rng(seed), bikes, days, depots, hours)
    found = good_plan(case, days_anew=2)
    assert broken_limits(case, found.choice, found.day) == []
    assert found.value >= 0.0
    assert found.at_most >= found.value
    comes = found.choice >= 0
    assert np.isfinite(case.gain[found.choice[comes], found.day[comes]]).all()
    assert (case.bike[found.choice[comes]] == np.flatnonzero(comes)).all()


def test_a_small_shop_is_planned_exactly_and_a_large_one_searched():
    small = random_case(np.random.default_rng(1), 8, 6, 1, 2.0)
    large = random_case(np.random.default_rng(1), 120, 20, 3, 2.0, windows=False)
    assert solve(small).method == "exact"
    # far more is planned beside it, so that little time is left for this one
    assert solve(large, size_of_all=10_000_000).method == "search"


def test_planning_anew_ends_once_turns_save_next_to_nothing(monkeypatch):
    case = random_case(np.random.default_rng(1), 60, 12, 2, 2.0, windows=False)
    values = []

    def solved(draft, bikes, days):
        solve_part(draft, bikes, days)
        values.append(draft.value)

    solve_part = search._solve_part
    monkeypatch.setattr(search, "_solve_part", solved)
    early = good_plan(case, days_anew=30)
    turns = len(values)
    last = values[-1 - search._PATIENCE :]
    assert turns < 30
    assert last[-1] - last[0] < search._LITTLE * last[-1]
    values.clear()
    monkeypatch.setattr(search, "_PATIENCE", 30)
    patient = good_plan(case, days_anew=30)
    assert len(values) > turns
    assert early.value >= 0.995 * patient.value


def _two_of_one_depot(gain: list[list[float]], cost: float) -> ShopCase:
    values = np.array(gain, dtype=float)
    n, days = values.shape
    return ShopCase(
        np.arange(n),
        np.zeros(n, dtype=int),
        values,
        np.full((n, days), 0.5),
        np.full(days, 1.0),
        np.zeros((n, days, 0), dtype=np.int8),
        np.zeros(0),
        cost,
    )


def test_bikes_of_a_depot_come_together_where_that_is_worth_it():
    gain = [[30.0, 26.0], [20.0, 28.0]]
    assert best_plan(_two_of_one_depot(gain, 0.0)).day.tolist() == [0, 1]
    together = best_plan(_two_of_one_depot(gain, 25.0))
    assert together.day.tolist() == [1, 1]
    assert together.value == pytest.approx(29.0)
    assert good_plan(_two_of_one_depot(gain, 25.0)).value == pytest.approx(29.0)


def test_no_bike_comes_where_a_day_of_its_depot_costs_more_than_all_save():
    for method in (best_plan, good_plan):
        found = method(_two_of_one_depot([[10.0], [9.0]], 25.0))
        assert (found.choice < 0).all()
        assert found.value == 0.0


def test_the_same_case_gives_the_same_plan():
    case = random_case(np.random.default_rng(9), 40, 12, 3, 2.0)
    first, second = good_plan(case), good_plan(case)
    assert first.day.tolist() == second.day.tolist()
    assert first.choice.tolist() == second.choice.tolist()
