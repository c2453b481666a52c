"""What a plan comes to, held to the plan told visit by visit."""

from dataclasses import replace
from datetime import timedelta
from itertools import pairwise

import numpy as np
import pytest

from models.check_plan import plan, search, solve
from models.check_plan.in_short import checks_in_short
from models.check_plan.plan import plan_checks
from models.check_plan.prices import _Relaxed, find_prices, worth
from models.check_plan.settings import CheckSettings
from tests.models.check_plan.random_cases import any_case
from tests.models.check_plan.records import AS_OF, records, sensor


def many(**more):
    rng = np.random.default_rng(5)
    rows = [
        sensor(
            f"U-{k}",
            number=n,
            saves=float(rng.uniform(-60, 90)),
            a_day=float(rng.uniform(-0.5, 1.5)),
            action="replace" if rng.random() < 0.3 else "test",
            fleet="F" if k % 3 == 0 else None,
        )
        for k in range(24)
        for n in range(1, 1 + int(rng.integers(1, 3)))
    ]
    return records(*rows, owed=("U-1/1", "U-3/1", "U-5/1"), stock=(("P-1", 2, 0, None),), **more)


def test_it_is_the_plan_told_in_full_added_up():
    settings = CheckSettings(check_share_of_bay_hours=0.1)
    plan, short = plan_checks(many(), AS_OF, settings), checks_in_short(many(), AS_OF, settings)
    (row,) = short.to_dict("records")
    (about,) = plan.about.to_dict("records")
    for name in ("shop_id", "shop_name", "visit_count", "planned_hours", "check_hours"):
        assert row[name] == about[name]
    dear = plan.visits[plan.visits["saves"] < 0]
    assert row["saves"] == pytest.approx(plan.visits["saves"].sum())
    assert row["owed_count"] == len(dear) > 0
    assert row["owed_adds"] == pytest.approx(-dear["saves"].sum())


def test_weeks_in_which_every_day_is_closed_come_to_nothing():
    week = tuple(AS_OF + timedelta(days=k) for k in range(1, 8))
    closed = CheckSettings(weeks_ahead=1, closed_days=week)
    (row,) = checks_in_short(many(), AS_OF, closed).to_dict("records")
    assert (row["visit_count"], row["owed_count"], row["saves"]) == (0, 0, 0.0)


def test_it_can_be_given_up_meanwhile():
    asked = []

    def overtaken():
        asked.append(1)
        if len(asked) == 3:
            raise KeyError("overtaken")

    with pytest.raises(KeyError, match="overtaken"):
        checks_in_short(many(), AS_OF, CheckSettings(), overtaken)


def test_it_is_asked_before_each_shop_is_solved_and_each_kind_of_move(monkeypatch):
    seen = []

    def noted(module, name):
        plain = getattr(module, name)
        monkeypatch.setattr(module, name, lambda *a, **k: (seen.append(name), plain(*a, **k))[1])

    kinds = ("_move_each", "_give_up_days", "_begin_days", "_take_places")
    for name in kinds:
        noted(search, name)
    for module, name in ((plan, "free_days"), (plan, "shop_case"), (search, "rounded_choices")):
        noted(module, name)
    monkeypatch.setattr(solve, "EXACT_UP_TO", 0)  # as a large shop
    checks_in_short(many(), AS_OF, CheckSettings(), lambda: seen.append("asked"))
    assert {"free_days", "shop_case", "rounded_choices", *kinds} <= set(seen)
    assert all(a == "asked" for a, b in pairwise(seen) if b in ("rounded_choices", *kinds))
    assert seen[seen.index("shop_case") + 1] == "asked"


@pytest.mark.parametrize("seed", range(6))
def test_priced_choices_are_those_of_the_plain_sum(seed):
    """The quicker way to price hours and parts, and to a bike's best, gives the same."""
    rng = np.random.default_rng(seed)
    case = any_case(seed)
    hour = rng.uniform(0, 20, len(case.bay_hours))
    part = rng.uniform(0, 9, len(case.limits)) * (rng.random(len(case.limits)) < 0.6)
    relaxed = _Relaxed(case)
    paid = worth(case, hour, part)
    assert relaxed._worth(hour, part) == pytest.approx(paid[relaxed.rows])
    expected = np.maximum.reduceat(paid, case.first, axis=0)
    assert np.array_equal(relaxed._by_bike(paid[relaxed.rows]), expected[relaxed.bikes])
    # a bike that is not looked at would not come at any prices
    assert np.all(np.delete(expected, relaxed.bikes, axis=0) <= 0)


@pytest.mark.parametrize("seed", range(6))
def test_bikes_with_nothing_to_gain_change_no_bound(seed):
    case = any_case(seed)
    prices = find_prices(case, reached=0.0, steps=40)
    depot = np.append(case.depot, [-1, max(case.n_depots - 1, -1)])
    rows = ([0, 0], case.bike[-1] + np.array([1, 2]))
    more = replace(
        case,
        bike=np.append(case.bike, rows[1]),
        depot=depot,
        gain=np.vstack([case.gain, np.minimum(case.gain[rows[0]], -1.0)]),
        hours=np.vstack([case.hours, case.hours[rows[0]]]),
        uses=np.concatenate([case.uses, case.uses[rows[0]]]),
    )
    found = find_prices(more, reached=0.0, steps=40)
    assert found.at_most == pytest.approx(prices.at_most, rel=1e-9)
    assert np.all(found.turn[-2:] == 0)
