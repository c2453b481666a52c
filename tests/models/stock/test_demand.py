"""Parts asked for under other chances, held to what is counted anew."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from models.stock.demand import Demand
from models.stock.needs import SensorNeeds, sensor_needs
from models.stock.supersession import Numbers
from models.stock.walk_in import walk_in_rates
from tests.models.stock.simulated_stock import frame, part_need, schemas, visits

DAYS = np.array([[14.0, 18.0, 21.0], [7.0, 7.0, 400.0]])

WALK_INS = walk_in_rates(frame(schemas.FIRST_VISITS, [visits("north", n_asked=4)]))


def demand(needs: SensorNeeds) -> Demand:
    """Two shops' askers for part P, and one sensor of a shop that orders none."""
    groups = needs.sensors[["shop_id", "part_no"]].drop_duplicates()
    groups = groups[groups["shop_id"] != "west"].reset_index(drop=True)
    own = needs.sensors["part_no"].to_numpy(object)
    return Demand(needs, own, WALK_INS, 1e-3, Numbers({}), groups)


def some_needs() -> SensorNeeds:
    shops = ["north"] * 120 + ["south"] * 15 + ["west"]
    return sensor_needs(part_need(shops, ["P"] * 136, 1.5, draws=3, spread=0.4))


@settings(max_examples=20)
@given(st.sets(st.integers(0, 135)), st.booleans())
def test_chances_moved_give_what_is_counted_anew(moved, other_days):
    needs = some_needs()
    chances = needs.chances.copy()
    chances[sorted(moved)] **= 2
    first, anew = demand(needs), demand(replace(needs, chances=chances))
    first.by_class(DAYS)
    later = first.under(anew.needs)
    days = DAYS + 5 if other_days else DAYS
    found, expected = later.by_class(days), anew.by_class(days)
    assert np.array_equal(found.pmf, expected.pmf)
    assert np.array_equal(found.mean, expected.mean)
    assert later.expected_by_source(days).equals(anew.expected_by_source(days))


@pytest.mark.parametrize("at_once", [1, 120 * 3 * 2, 500_000])
def test_a_group_and_some_days_at_a_time_ask_what_all_at_once_do(monkeypatch, at_once):
    """Of many days, some with old stock, and a group that nobody asks of."""
    monkeypatch.setattr("models.stock.demand._CHANCES_AT_ONCE", at_once)
    needs = some_needs()
    groups = pd.concat(
        [demand(needs).groups, pd.DataFrame({"shop_id": ["east"], "part_no": ["P"]})]
    ).reset_index(drop=True)
    own = needs.sensors["part_no"].to_numpy(object)
    own[::3] = "O"  # met by the number before P as well
    numbers = Numbers({"O": "P"}, {"P": ("O",)})
    whole = replace(demand(needs), groups=groups, meets=own, numbers=numbers)
    days = np.vstack([DAYS, [[7.0, 14.0, 21.0]]])
    found = {}
    for stock in (0, 2, (9, 2, 4)):
        old = {("north", "O"): np.array(stock)} if stock else {}
        found[stock], expected = whole.asked_by_any(days, old), whole.asked(days, old).mixed(axis=1)
        assert np.array_equal(found[stock].pmf, expected.pmf)
        assert np.array_equal(found[stock].mean, expected.mean)
    by_day = found[9, 2, 4].mean[0]  # of the days, each with what old stock is there by then
    assert by_day[0] < found[2].mean[0, 0] < found[0].mean[0, 0]
    assert by_day[1] == found[2].mean[0, 1]


def test_only_the_chances_moved_are_worked_out_anew(monkeypatch):
    asked, needs = [], some_needs()
    by_days = SensorNeeds.by_days

    def spied(self, days):
        asked.append(len(self.chances))
        return by_days(self, days)

    monkeypatch.setattr(SensorNeeds, "by_days", spied)
    chances = needs.chances.copy()
    chances[[3, 77, 130]] *= 0.5
    first = demand(needs)
    later = first.under(replace(needs, chances=chances))
    for each in (first, later, first):
        each.by_class(DAYS)
        each.expected_by_source(DAYS)
    assert asked == [136, 3, 3]  # and back again


def test_expectations_are_those_of_the_last_day():
    table = demand(some_needs()).expected_by_source(DAYS)
    alone = demand(some_needs()).expected_by_source(DAYS[:, -1:])
    assert table.equals(alone)
    counted = demand(some_needs()).by_class(DAYS).mean.mean(axis=1)[:, -1]
    sources = table[["sensors", "repeats", "walk_ins"]].sum(axis=1)
    assert counted == pytest.approx(sources.to_numpy())


def test_chances_of_other_horizons_have_all_moved():
    needs = some_needs()
    shorter = replace(needs, days=needs.days[:-1], chances=needs.chances[..., :-1])
    later_days = replace(needs, days=needs.days + 1)
    for other in (shorter, later_days):
        assert len(other.moved_from(needs)) == 136
    assert not len(replace(needs, chances=needs.chances.copy()).moved_from(needs))
