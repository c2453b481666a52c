"""What to order: packs, transfers, slow movers; parts are conserved and never negative."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from models.stock import schemas
from models.stock.plan import orders_today
from models.stock.pooling import pools, transfers
from models.stock.settings import COSTS, StockSettings
from tests.models.stock.simulated_stock import (
    both_ways,
    count,
    frame,
    no_transfers,
    part,
    part_need,
    records,
)

BUSY = part_need(["north"] * 60, ["P"] * 60, 1.5)
TWO_SHOPS = part_need(["north"] * 60 + ["south"] * 60, ["P"] * 120, 1.5)


def ordered(found, settings=None, allowed=None):
    allowed = no_transfers() if allowed is None else allowed
    return orders_today(found, settings or StockSettings(), allowed)


def one(found, **settings):
    return ordered(found, StockSettings(**settings)).orders.iloc[0]


def test_the_order_brings_the_share_to_its_target_and_one_less_would_not():
    row = one(records(BUSY))
    assert row["filled_now"] < 0.5 < 0.95 <= row["filled_after"]
    less = one(records(BUSY, counts=[count(on_hand=int(row["order_parts"]) - 1)]))
    assert less["filled_now"] < 0.95
    assert less["order_parts"] == 1
    assert row["short_after"] < row["short_now"]


def test_parts_due_count_only_when_they_come():
    soon = count(on_hand=2, on_order=5, order_due_on="2026-11-10")
    late = count(on_hand=2, on_order=5, order_due_on="2027-02-01")
    enough, too_late = (one(records(BUSY, counts=[c])) for c in (soon, late))
    bare = one(records(BUSY, counts=[count(on_hand=2)]))
    assert enough["order_parts"] == bare["order_parts"] - 5
    assert too_late["order_parts"] == bare["order_parts"]
    assert too_late["due"] == 5


@given(st.integers(1, 7), st.integers(0, 12))
@settings(max_examples=12)
def test_orders_are_whole_packs_just_enough(pack, on_hand):
    found = records(BUSY, parts=[part(pack_size=pack)], counts=[count(on_hand=on_hand)])
    row = one(found)
    assert row["order_parts"] == row["order_packs"] * pack >= 0
    single = one(records(BUSY, counts=[count(on_hand=on_hand)]))
    assert single["order_parts"] <= row["order_parts"] < single["order_parts"] + pack


@given(st.floats(0.5, 0.97), st.floats(0.001, 0.02))
@settings(max_examples=12)
def test_a_higher_target_never_orders_less(target, more):
    found = records(BUSY)
    low, high = (one(found, target_filled_share=t)["order_parts"] for t in (target, target + more))
    assert low <= high


def test_mixing_over_fits_never_promises_more_than_one_fit():
    drawn = part_need(["north"] * 60, ["P"] * 60, 1.5, draws=40, spread=0.4, seed=1)
    wide, narrow = one(records(drawn)), one(records(BUSY))
    assert wide["need_high"] - wide["need_low"] > narrow["need_high"] - narrow["need_low"]
    assert wide["order_parts"] > narrow["order_parts"]


def test_for_slow_movers_none_is_right_and_the_costs_are_told():
    slow = records(part_need(["north"], ["P"], 0.2))
    row = one(slow)
    assert row["none_is_right"]
    assert row["order_parts"] == row["base_stock"] == 0
    # 0.2 a year at 60 a missed need, less what 21 days cannot hold; a quarter of 100 a year
    assert row["keep_none_cost"] == pytest.approx(12.0, rel=0.02)
    assert row["keep_one_cost"] == pytest.approx(25.0)
    dear = one(slow, shortage_cost=600.0)
    assert not dear["none_is_right"]
    assert dear["order_parts"] == 1


def test_by_costs_a_dearer_part_is_stocked_less():
    cheap, dear = (
        one(records(BUSY, parts=[part(unit_price=price)]), order_by=COSTS)["order_parts"]
        for price in (50.0, 2000.0)
    )
    assert cheap > dear > 0


def test_an_order_cost_puts_small_orders_together():
    stocked = records(BUSY, counts=[count(on_hand=6)])
    assert one(stocked, order_cost=40.0)["order_parts"] > one(stocked)["order_parts"] > 0
    enough = records(BUSY, counts=[count(on_hand=60)])
    assert one(enough, order_cost=40.0)["order_parts"] == 0


def test_after_the_end_of_supply_nothing_can_be_ordered():
    gone = records(BUSY, parts=[part(supply_ends_on="2026-01-01")])
    row = one(gone)
    assert (row["supply"], row["order_parts"]) == ("ended", 0)
    assert row["short_after"] == row["short_now"] > 0.9


def test_shops_order_apart_unless_both_owners_agree():
    found = records(TWO_SHOPS, counts=[count("north", on_hand=40), count("south", on_hand=1)])
    apart = ordered(found)
    assert apart.transfers.empty
    together = ordered(found, allowed=both_ways())
    south = together.orders.set_index("shop_id").loc["south"]
    assert south["transfer_in"] > 0
    assert south["order_parts"] == 0
    assert south["filled_after"] >= 0.95
    north = together.orders.set_index("shop_id").loc["north"]
    assert north["filled_after"] >= 0.95
    assert north["transfer_out"] == south["transfer_in"]


def test_a_shop_that_an_order_would_reach_too_late_takes_parts_from_another():
    sure = part_need(["north"] * 20, ["P"] * 20, 0.0)
    sure["need"] = np.where(sure["sensor_id"].isin(["S0", "S1"]), 1.0, 0.1 * sure["days"] / 182)
    counts = [count("north"), count("south", on_hand=5)]
    found = records(sure, counts=counts, parts=[part(lead_time_days=28)])
    rows = ordered(found, allowed=both_ways()).orders.set_index("shop_id")
    assert rows.loc["north", "transfer_in"] >= 2
    assert rows["transfer_in"].sum() == rows["transfer_out"].sum()


def test_one_way_consent_lets_parts_go_one_way():
    one_way = frame(schemas.TRANSFERS_ALLOWED, [{"from_shop": "south", "to_shop": "north"}])
    found = records(TWO_SHOPS, counts=[count("north", on_hand=40), count("south", on_hand=1)])
    assert ordered(found, allowed=one_way).transfers.empty


@given(
    st.lists(st.integers(0, 9), min_size=4, max_size=4),
    st.lists(st.integers(0, 9), min_size=4, max_size=4),
    st.sets(st.tuples(st.sampled_from("abcd"), st.sampled_from("abcd"))),
)
def test_transfers_conserve_parts_and_keep_to_what_is_spare_lacking_and_allowed(
    lacking, spare, allowed
):
    groups = frame(schemas.STOCK_COUNTS, [count(s) for s in "abcd"])
    pairs = [{"from_shop": a, "to_shop": b} for a, b in allowed]
    lacking, spare = np.array(lacking), np.where(np.array(lacking) > 0, 0, np.array(spare))
    moved = transfers(groups, lacking, spare, frame(schemas.TRANSFERS_ALLOWED, pairs))
    assert (moved["parts"] > 0).all()
    assert set(zip(moved["from_shop"], moved["to_shop"], strict=True)) <= allowed
    for i, shop in enumerate("abcd"):
        assert moved.loc[moved["from_shop"].eq(shop), "parts"].sum() <= spare[i]
        assert moved.loc[moved["to_shop"].eq(shop), "parts"].sum() <= lacking[i]
    everyone = {(a, b) for a in "abcd" for b in "abcd"}
    if allowed >= everyone:
        assert moved["parts"].sum() == min(lacking.sum(), spare.sum())


def test_one_shared_stock_needs_no_more_than_the_shops_apart():
    found = records(TWO_SHOPS)
    assert [len(rows) for rows in pools(found.demand.groups, both_ways())] == [2]
    assert pools(found.demand.groups, no_transfers()) == []


@given(st.integers(0, 50), st.integers(0, 50))
@settings(max_examples=15)
def test_no_order_or_shelf_is_ever_negative(north, south):
    found = records(
        TWO_SHOPS, counts=[count("north", on_hand=north), count("south", on_hand=south)]
    )
    rows = ordered(found, allowed=both_ways()).orders
    for name in ("order_parts", "transfer_in", "transfer_out", "on_hand", "tied_up_after"):
        assert (rows[name] >= 0).all(), name
    assert (rows["transfer_out"] <= rows["on_hand"]).all()
    assert rows["transfer_out"].sum() == rows["transfer_in"].sum()
