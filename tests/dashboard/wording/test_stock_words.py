"""The stock plan's sentences: plain, with units, and honest about what is not known."""

import pytest

from dashboard.wording.stock_words import (
    coming,
    expected,
    in_short,
    last_buy_words,
    needed,
    order_now,
    position,
    reasons,
    rests_on,
    runs_out,
    to_settle,
    unmet,
    walk_in_words,
)
from dashboard.words import money
from tests.dashboard.fake_stock import about, last_buys, stock_rows, walk_ins

ROWS = stock_rows().to_dict("records")
ORDERED, ENOUGH, SLOW, NEVER = ROWS


def test_an_order_is_told_in_parts_and_packs():
    assert order_now(ORDERED) == "order 4 (2 packs of 2)"
    assert order_now(NEVER) == "order 3"
    assert order_now(ENOUGH) == "nothing"


def test_a_chance_is_never_called_none_or_certain():
    assert runs_out(ORDERED | {"short_now": 1.0, "short_after": 0.0}) == (
        "more than 99 → less than 1 in 100"
    )
    assert unmet(0.42) == "42"
    assert expected(0.01) == "less than 0.1"
    assert expected(0.0) == "0"


def test_shelf_order_and_need_carry_their_days():
    assert position(ORDERED) == "2 + 1 of P-0"
    assert coming(ORDERED) == "2, due 2026-03-20"
    assert coming(ENOUGH) == "1, overdue since 2026-03-01"
    assert coming(NEVER) == "none"
    assert needed(ORDERED) == "4.2 in 21 days, likely 1 to 8"


def test_the_reason_for_an_order_holds_both_shares():
    first = reasons(ORDERED, "crowns")[0]
    assert first == (
        "4.2 expected in the next 21 days; without an order about 71 of 100 needs would be met at "
        "once, with it 96."
    )
    assert reasons(ENOUGH)[0] == (
        "What is there and due is enough: more than 99 of 100 needs would be met at once without "
        "an order."
    )


def test_parts_that_come_too_late_are_named():
    late = reasons(ORDERED | {"there": 2})
    assert "2 on order come too late for these days: ask for them sooner." in late


def test_an_end_of_supply_is_told_with_its_day():
    ended = ENOUGH | {"supply": "ended", "supply_ends_on": "2026-01-31"}
    assert reasons(ended)[0].startswith("Supply ended on 2026-01-31 and no number takes its place")
    ending = ENOUGH | {"supply": "ending", "supply_ends_on": "2026-03-31"}
    assert "Its supply ends on 2026-03-31, within these days." in reasons(ending)


def test_a_slow_mover_names_both_costs_and_what_is_left():
    assert reasons(SLOW, "crowns")[0] == (
        "A slow mover: stocking none costs least (keeping one costs 25 crowns a year, doing "
        "without about 20 crowns)."
    )
    left = reasons(SLOW | {"on_hand": 1, "keep_none_cost": 0.2}, "crowns")[0]
    assert "doing without less than 1 crowns" in left
    assert left.endswith("What is there may be used up.")


def test_nothing_to_order_is_said_with_the_money_tied_up():
    rows = stock_rows().assign(order_parts=0, order_money=0.0)
    assert in_short(rows, "") == (
        "Nothing to order today. 700 ¤ is tied up in parts on hand and due."
    )


def test_what_to_settle_first_is_counted():
    assert to_settle(stock_rows()) == [
        "Count first: 2 lines without a fresh count (1 never counted, 1 long ago)."
    ]
    fresh = stock_rows().assign(count_state="counted")
    assert to_settle(fresh) == []
    gone = to_settle(fresh.assign(supply=["ended", "ended", "open", "open"]))
    assert gone == [
        "1 line can no longer be ordered and may be asked for: see what goes out of supply."
    ]


def test_walk_ins_name_their_evidence():
    row = walk_ins().to_dict("records")[0]
    assert walk_in_words(row) == (
        "Bikes never seen before ask for 1.1 of P-1 a year (likely 0.4 to 2.3): 3 parts at 14 "
        "first visits in 3.0 years. That rests 80 in 100 on this shop's own first visits, else on "
        "those of all shops."
    )


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({}, "Last order by 2026-09-30: 9 parts for 1,080 crowns"),
        ({"state": "closing"}, "Last order before the next review: 9 parts"),
        ({"state": "ended", "buy_parts": 0}, "It could be ordered until 2026-09-30"),
        ({"buy_parts": 0}, "no last order is needed"),
    ],
)
def test_a_last_order_is_told_by_its_state(change, words):
    assert words in last_buy_words(last_buys(**change).to_dict("records")[0], "crowns")


def test_what_the_plan_rests_on_names_fits_target_and_consent():
    said = " ".join(rests_on(about()))
    assert "46 sensors, counted exactly and mixed over 20 fits" in said
    assert "meet 95 of 100 needs at once" in said
    assert "No transfers between shops" in said
    by_costs = " ".join(rests_on(about(n_draws=1, settings={"order_by": "costs"})))
    assert "Orders are those that cost least: a need unmet costs 60 crowns" in by_costs
    assert "the spread may be too small" in by_costs


def test_money_is_whole_and_names_its_currency():
    assert money(1234.4, "crowns") == "1,234 crowns"
    assert money(1234.6) == "1,235 ¤"
