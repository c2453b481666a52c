"""The whole plan on made-up shops: numbers, weeks, shared stocks and last orders agree."""

from datetime import date

import numpy as np
import pandas as pd
import pytest
from scipy.stats import poisson

from models.stock import plan as plan_module
from models.stock.plan import orders_today, stock_plan
from models.stock.repeats import asks_twice
from models.stock.settings import COSTS, StockSettings
from tests.models.stock.simulated_stock import (
    both_ways,
    count,
    no_transfers,
    part,
    part_need,
    records,
    visits,
)

ENDED = {"replaced_by": "NEW", "supply_ends_on": date(2025, 1, 1)}


def planned(found, settings=None, allowed=None):
    allowed = no_transfers() if allowed is None else allowed
    return stock_plan(found, settings or StockSettings(), allowed)


@pytest.fixture(scope="module")
def plan():
    need = part_need(["north"] * 40 + ["south"] * 40, ["P"] * 80, 1.2, draws=8, spread=0.2)
    found = records(
        need,
        counts=[count("north", on_hand=1, on_order=2, order_due_on="2026-11-12")],
        first_visits=[visits("north", n_asked=4), visits("south", n_asked=2)],
        repeat_rate=1e-4,
    )
    return planned(found, allowed=both_ways())


def test_needs_add_up_from_sensors_repeats_and_walk_ins(plan):
    rows = plan.orders
    parts = rows[["need_from_sensors", "need_from_repeats", "need_from_walk_ins"]]
    assert rows["need"].to_numpy() == pytest.approx(parts.sum(axis=1).to_numpy())
    assert (parts > 0).all().all()
    assert rows["n_sensors"].tolist() == [40, 40]


def test_the_distribution_shown_agrees_with_the_order_rows(plan):
    for row in plan.orders.to_dict("records"):
        own = plan.demand[plan.demand["shop_id"].eq(row["shop_id"])]
        assert own["chance"].sum() == pytest.approx(1.0, abs=2e-4)
        assert (own["chance"] * own["parts"]).sum() == pytest.approx(row["need"], abs=0.01)
        position = row["on_hand"] + row["due"] + row["transfer_in"] - row["transfer_out"]
        after = own[own["parts"].eq(position + row["order_parts"])].iloc[0]
        assert 1 - after["up_to"] == pytest.approx(row["short_after"], abs=1e-9)


def test_weeks_run_on_from_one_another(plan):
    own = plan.weeks[plan.weeks["shop_id"].eq("north")]
    assert own["week"].tolist() == list(range(1, 13))
    assert own["need"].cumsum().to_numpy() == pytest.approx(own["need_by_then"].to_numpy())
    assert np.all(np.diff(own["short_now"].iloc[1:]) >= -1e-12)  # parts come in the second week
    assert (own["short_after"] <= own["short_now"] + 1e-12).all()
    row = plan.orders.set_index("shop_id").loc["north"]
    arrives = own.set_index("week")["arrives"]
    # two due on the 12th fall in the second week, as does today's order after 14 days
    assert arrives[2] == 2 + row["order_parts"]
    assert own["order_expected"].sum() > 0
    assert own["on_shelf"].min() >= 0


def test_later_orders_keep_the_level_over_the_needs(plan):
    own = plan.weeks[plan.weeks["shop_id"].eq("south")]
    assert own["order_expected"].mean() == pytest.approx(own["need"].mean(), rel=0.25)
    assert own["short_after"].iloc[3:].max() < 0.15


def test_one_shared_stock_is_smaller(plan):
    row = plan.pools.iloc[0]
    assert row["shops"] == "north, south"
    assert row["apart"] == plan.orders["base_stock"].sum()
    assert row["as_one"] < row["apart"]


def test_of_a_slow_mover_one_shared_stock_holds_none_either():
    found = records(part_need(["north", "south"], ["P", "P"], 0.05))
    row = planned(found, allowed=both_ways()).pools.iloc[0]
    assert (row["apart"], row["as_one"]) == (0, 0)


def test_a_poisson_walk_in_alone_gives_the_textbook_level():
    # so many first visits that the rate is all but known: about 52 a year, 3 weeks ahead
    found = records(
        part_need([], [], 1.0),
        first_visits=[visits(days=1e6, n_visits=10**6, n_asked=round(4 / 21 * 1e6))],
    )
    row = planned(found).orders.iloc[0]
    assert row["need"] == pytest.approx(4.0, rel=0.01)
    assert row["need_high"] == poisson.ppf(0.95, 4.0)
    assert row["n_sensors"] == 0


def test_an_old_number_s_needs_are_ordered_as_the_new_after_its_stock():
    need = part_need(["north"] * 50, ["OLD"] * 25 + ["NEW"] * 25, 1.0)
    parts = [part("OLD", **ENDED), part("NEW")]
    bare = planned(records(need, parts=parts)).orders
    assert bare["part_no"].tolist() == ["NEW"]
    assert bare["n_sensors"].tolist() == [50]
    assert bare["used_for"].tolist() == ["OLD"]
    left = planned(records(need, parts=parts, counts=[count(part_no="OLD", on_hand=2)])).orders
    assert left["old_on_hand"].tolist() == [2]
    assert 0 < bare["order_parts"].iloc[0] - left["order_parts"].iloc[0] <= 2
    # far more than its own needs: what fits nothing else stays on the shelf
    many = planned(records(need, parts=parts, counts=[count(part_no="OLD", on_hand=90)])).orders
    only_new = planned(records(need.query("part_no == 'NEW'"), parts=[part("NEW")])).orders
    assert many["order_parts"].tolist() == only_new["order_parts"].tolist()


def test_the_fitments_let_old_stock_serve_new_numbers():
    need = part_need(["north"] * 50, ["NEW"] * 50, 1.0)
    parts = [part("OLD", **ENDED), part("NEW")]
    old = {"counts": [count(part_no="OLD", on_hand=3)]}
    fits = {
        "places": [
            {"sensor_id": f"S{i}", "model_code": "M", "mount": "throttle"} for i in range(50)
        ],
        "fitments": [{"part_no": "OLD", "model_code": "M", "mount": "throttle"}],
    }
    without, listed = (
        planned(records(need, parts=parts, **old, **more)).orders.iloc[0] for more in ({}, fits)
    )
    assert without["old_on_hand"] == listed["old_on_hand"] == 3
    # the target is held for the needs that the old stock cannot meet: at most 3 fewer
    assert 2 <= without["order_parts"] - listed["order_parts"] <= 3
    assert listed["need"] < without["need"]


def test_a_last_order_is_made_only_where_no_number_follows():
    need = part_need(["north"] * 40, ["GOING"] * 20 + ["OLD"] * 20, 0.5)
    parts = [
        part("GOING", supply_ends_on=date(2027, 3, 1), pack_size=4),
        part("OLD", replaced_by="NEW", supply_ends_on=date(2027, 3, 1)),
        part("NEW"),
    ]
    found = planned(records(need, parts=parts))
    assert found.last_buys["part_no"].tolist() == ["GOING"]
    row = found.last_buys.iloc[0]
    # 20 sensors that ask with 1 - exp(-1) in two years: binomial mean 12.64
    assert row["need"] == pytest.approx(20 * (1 - np.exp(-0.5 * 730 / 365.25)), rel=1e-6)
    assert row["state"] == "open"
    assert row["buy_parts"] % 4 == 0
    assert row["filled_after"] >= 0.95
    assert row["buy_money"] == row["buy_parts"] * 100.0
    cheap = planned(records(need, parts=parts), StockSettings(order_by=COSTS, shortage_cost=1e4))
    assert cheap.last_buys.iloc[0]["buy_parts"] >= row["buy_parts"]


@pytest.mark.parametrize(
    ("ends", "state"), [("2026-11-03", "closing"), ("2026-10-30", "ended"), ("2026-11-20", "open")]
)
def test_the_last_chance_to_order_is_named(ends, state):
    parts = [part("GOING", supply_ends_on=ends)]
    row = planned(records(part_need(["north"], ["GOING"], 0.5), parts=parts)).last_buys.iloc[0]
    assert row["state"] == state
    assert (row["buy_parts"] == 0) == (state == "ended")


def test_defaults_are_marked_as_assumed():
    bare = part(unit_price=None, lead_time_days=None, pack_size=None)
    row = planned(records(part_need(["north"] * 9, ["P"] * 9, 1.0), parts=[bare])).orders.iloc[0]
    assert (row["unit_price"], row["lead_time_days"], row["pack_size"]) == (120.0, 21, 1)
    assert row["price_assumed"]
    assert row["lead_time_assumed"]


def test_sensors_without_a_chance_are_counted_where_their_part_is_ordered():
    need = part_need(["north"] * 4, ["OLD"] * 2 + ["NEW"] * 2, 1.0)
    need["need"] = need["need"].where(~need["sensor_id"].isin(["S0", "S3"]))
    found = records(need, parts=[part("OLD", **ENDED), part("NEW")])
    row = planned(found).orders.iloc[0]
    assert (row["n_sensors"], row["n_left_out"]) == (2, 2)
    assert found.needs.left_out["sensor_id"].tolist() == ["S0", "S3"]
    assert planned(found.under(found.needs)).orders.iloc[0]["n_left_out"] == 2


def test_with_nothing_on_record_the_plan_is_empty():
    found = planned(records(part_need([], [], 1.0)))
    assert all(
        frame.empty
        for frame in (found.orders, found.demand, found.weeks, found.pools, found.last_buys)
    )


def two_shops(seed, *, few=()):
    """Sensors of two shops and an old number; those at the places ``few`` ask less often."""
    per_year = np.random.default_rng(0).uniform(0.1, 2.0, 260)
    per_year[list(few)] /= 3
    shops = ["north"] * 200 + ["south"] * 60
    numbers = (["OLD"] * 20 + ["NEW"] * 110) * 2
    return records(
        part_need(shops, numbers, per_year, draws=4, spread=0.3, seed=seed),
        parts=[part("OLD", **ENDED), part("NEW", unit_price=None)],
        counts=[
            count("north", "NEW", on_hand=1, on_order=2, order_due_on="2026-11-18"),
            count("north", "OLD", on_hand=2),
        ],
        first_visits=[visits("north", "NEW", n_asked=4), visits("south", "NEW", n_asked=2)],
        repeat_rate=1e-4,
    )


@pytest.mark.parametrize(
    "settings",
    [StockSettings(), StockSettings(order_by=COSTS, review_days=30, price_if_unknown=40.0)],
)
@pytest.mark.parametrize("moved", [(), (3, 150, 259), range(260)])
def test_other_chances_give_the_orders_of_records_read_anew(settings, moved):
    first, anew = two_shops(1), two_shops(1, few=moved)
    orders_today(first, StockSettings(), both_ways())
    later = first.under(anew.needs)
    found, expected = (orders_today(each, settings, both_ways()) for each in (later, anew))
    pd.testing.assert_frame_equal(found.orders, expected.orders, rtol=1e-11, atol=0)
    pd.testing.assert_frame_equal(found.transfers, expected.transfers)
    before = orders_today(first, settings, both_ways())
    assert (before.orders["need"] > found.orders["need"]).all() == bool(moved)


def test_who_asks_and_what_is_there_are_taken_over(monkeypatch):
    first = two_shops(1)
    orders_today(first, StockSettings(), no_transfers())
    later = first.under(two_shops(1, few=(3, 150)).needs)
    for name in ("in_stock", "oldest_that_fits", "follow_numbers", "Demand"):
        monkeypatch.setattr(plan_module, name, None)  # would fail if called
    orders_today(later, StockSettings(target_filled_share=0.8), no_transfers())
    assert later.under(first.needs).demand.classes is first.demand.classes


def test_what_is_there_is_looked_up_anew_for_what_it_rests_on():
    found = two_shops(1)
    kept = found.in_stock(StockSettings())
    assert found.in_stock(StockSettings(target_filled_share=0.5, order_cost=9.0)) is kept
    for other in (
        {"review_days": 30},
        {"lead_time_days_if_unknown": 30},
        {"price_if_unknown": 40.0},
        {"stock_count_stale_after_days": 3},
    ):
        assert found.in_stock(StockSettings(**other)) is not kept


def test_other_chances_are_those_of_the_same_sensors():
    with pytest.raises(ValueError, match="same sensors"):
        two_shops(1).under(records(part_need(["north"], ["NEW"], 1.0)).needs)


@pytest.mark.parametrize(
    "wrong",
    [{"target_filled_share": 1.0}, {"order_by": "habit"}, {"review_days": 0}, {"order_cost": -1}],
)
def test_settings_that_make_no_sense_are_named(wrong):
    found = records(part_need(["north"], ["P"], 1.0))
    with pytest.raises(ValueError, match=next(iter(wrong))):
        orders_today(found, StockSettings(**wrong), no_transfers())


def test_chances_and_shares_agree_with_a_simulation_of_the_shop():
    """Fits, sensors, repeats, walk-ins, old stock and parts due, all drawn anew 40,000 times."""
    rng = np.random.default_rng(5)
    need = part_need(["north"] * 30, ["OLD"] * 12 + ["NEW"] * 18, 0.9, draws=6, spread=0.5, seed=2)
    found = records(
        need,
        parts=[part("OLD", **ENDED), part("NEW")],
        counts=[
            count(part_no="OLD", on_hand=1),
            count(part_no="NEW", on_hand=1, on_order=1, order_due_on="2026-11-18"),
        ],
        first_visits=[visits(part_no="NEW", n_asked=6)],
        repeat_rate=2e-3,
    )
    row = orders_today(found, StockSettings(), no_transfers()).orders.iloc[0]
    walk, chances = found.walk_ins.iloc[0], found.needs
    times, days = 40_000, np.array([14.0, 18.0, 21.0])
    draw = rng.integers(0, 6, times)
    once = chances.by_days(days)[:, draw].transpose(1, 0, 2)
    twice = asks_twice(once, days, 2e-3)
    u = rng.random((times, 30, 1))  # a sensor that asks by one day has asked by all later ones
    asked = (u < once).astype(int) + (u < twice)
    rate = rng.gamma(walk["shape"], 1 / walk["rate_days"], times)
    came = np.cumsum(rng.poisson(rate[:, None] * np.diff(days, prepend=0.0)), axis=1)
    old, new = asked[:, :12].sum(axis=1), asked[:, 12:].sum(axis=1) + came
    beyond = np.maximum(old - 1, 0) + new
    ordered = row["order_parts"]
    there = np.array([1, 1, 2])
    missed = np.maximum(beyond - there - ordered, 0)
    # the part due on the 18th day serves from then on
    before = np.maximum(beyond[:, 1] - 1 - ordered, 0)
    after = missed[:, 2] - np.maximum(beyond[:, 1] - 2 - ordered, 0)
    filled = 1 - (before - missed[:, 0] + after).mean() / (beyond[:, 2] - beyond[:, 0]).mean()
    assert row["need"] == pytest.approx(beyond[:, 2].mean(), abs=0.03)
    assert row["short_now"] == pytest.approx((beyond[:, 2] > 2).mean(), abs=0.01)
    assert row["short_before"] == pytest.approx((beyond[:, 0] > 1).mean(), abs=0.01)
    assert row["short_after"] == pytest.approx((beyond[:, 2] > 2 + ordered).mean(), abs=0.01)
    assert row["filled_after"] == pytest.approx(filled, abs=0.02)
