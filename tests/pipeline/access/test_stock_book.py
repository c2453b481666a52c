"""Stock from the screen: counts, orders and arrivals, shown at once and taken up by the build."""

from __future__ import annotations

from datetime import UTC, date, datetime

import pandas as pd
import pytest

from pipeline.access.entered.pending import pending_rows
from pipeline.access.stock_book import stock_book
from pipeline.access.stock_view import stock_view
from pipeline.access.views import NotThereError
from pipeline.home import Home
from pipeline.intake.receive import last_hand_in
from pipeline.intake.typed.entries import EntryError
from pipeline.intake.typed.stock_entries import save_arrival, save_count, save_order
from pipeline.warehouse.build import build
from tests.askers import HERE
from tests.pipeline.stocked_shop import DAY

NOW = datetime(2026, 6, 1, 12, tzinfo=UTC)
LEFT = ["counted", "used_since", "on_hand_now", "due_now", "pending"]


def place(home: Home, part_no: str) -> dict:
    rows = stock_book(home, HERE).rows
    (row,) = rows[rows["part_no"].eq(part_no)].to_dict("records")
    return row


def left(home: Home, part_no: str) -> list:
    row = place(home, part_no)
    return [None if pd.isna(row[name]) else row[name] for name in LEFT]


def test_a_home_without_records_says_so(home):
    with pytest.raises(NotThereError):
        stock_book(home, HERE)


def test_every_part_of_every_shop_is_offered_with_the_latest_count_up_to_the_day(stocked_home):
    assert place(stocked_home, "P1")["counted_on"] == pd.Timestamp("2026-05-11")
    assert left(stocked_home, "P1") == [1, 0, 1, 2, False]
    assert left(stocked_home, "P2") == [None, 0, None, None, False]
    assert place(stocked_home, "P1")["planned"]


def test_what_is_left_is_what_the_plan_counts_on(stocked_home):
    row = stock_view(stocked_home, HERE, "s1", "P1").one.row
    assert left(stocked_home, "P1")[2:4] == [row["on_hand"], row["due"]]


def test_a_count_shows_at_once_and_the_plan_holds_it_after_the_next_build(stocked_copy):
    save_count(stocked_copy, place(stocked_copy, "P2"), counted_on=DAY, on_hand=4, now=NOW)
    assert left(stocked_copy, "P2") == [4, 0, 4, 0, True]
    with stocked_copy.one_builder():
        build(stocked_copy)
    assert left(stocked_copy, "P2") == [4, 0, 4, 0, False]
    assert stock_view(stocked_copy, HERE, "s1", "P2").one.row["on_hand"] == 4


def test_an_order_is_noted_on_the_latest_count_and_an_arrival_is_a_new_one(stocked_copy):
    save_order(stocked_copy, place(stocked_copy, "P1"), ordered=4, due_on=None, now=NOW)
    (cells,) = pending_rows(stocked_copy, HERE, "stock")["stock"].values()
    assert cells == {
        "shop_id": "s1",
        "part_no": "P1",
        "counted_on": "2026-05-11",
        "on_hand": "1",
        "on_order": "6",
        "order_due_on": "2026-06-10",
    }
    assert left(stocked_copy, "P1") == [1, 0, 1, 6, True]
    came = {"arrived_on": DAY, "arrived": 5, "on_hand": 6}
    save_arrival(stocked_copy, place(stocked_copy, "P1"), **came, now=NOW)
    assert left(stocked_copy, "P1") == [6, 0, 6, 1, True]
    assert place(stocked_copy, "P1")["order_due_on"] == pd.Timestamp("2026-06-10")
    save_arrival(
        stocked_copy,
        place(stocked_copy, "P1"),
        arrived_on=DAY,
        arrived=3,
        on_hand=9,
        now=NOW,
    )
    assert left(stocked_copy, "P1") == [9, 0, 9, 0, True]
    assert pd.isna(place(stocked_copy, "P1")["order_due_on"])


def test_a_typed_count_older_than_the_one_on_record_does_not_stand_above_it(stocked_copy):
    early = date(2026, 5, 1)
    save_count(stocked_copy, place(stocked_copy, "P1"), counted_on=early, on_hand=50, now=NOW)
    assert left(stocked_copy, "P1") == [1, 0, 1, 2, False]


@pytest.mark.parametrize(
    ("save", "values", "column", "said"),
    [
        (save_count, {"counted_on": DAY, "on_hand": None}, "on_hand", "blank"),
        (save_count, {"counted_on": None, "on_hand": 1}, "counted_on", "blank"),
        (save_count, {"counted_on": DAY, "on_hand": -1}, "on_hand", "expected"),
        (save_count, {"counted_on": date(2026, 6, 9), "on_hand": 1}, "counted_on", "after the day"),
        (save_order, {"ordered": 0, "due_on": None}, "ordered", "above 0"),
        (save_order, {"ordered": None, "due_on": None}, "ordered", "above 0"),
        (save_arrival, {"arrived_on": DAY, "arrived": 3, "on_hand": 2}, "on_hand", "fewer"),
        (save_arrival, {"arrived_on": DAY, "arrived": 3, "on_hand": None}, "on_hand", "blank"),
        (
            save_arrival,
            {"arrived_on": date(2026, 5, 1), "arrived": 1, "on_hand": 2},
            "arrived_on",
            "before the latest count",
        ),
    ],
)
def test_what_cannot_stand_is_named_and_nothing_is_saved(stocked_copy, save, values, column, said):
    before = last_hand_in(stocked_copy)
    with pytest.raises(EntryError, match=said) as refused:
        save(stocked_copy, place(stocked_copy, "P1"), **values, now=NOW)
    assert [trouble.column for trouble in refused.value.troubles] == [column]
    assert last_hand_in(stocked_copy) == before


def test_an_order_of_a_part_never_counted_asks_for_a_count_first(stocked_copy):
    with pytest.raises(EntryError, match="never counted here: save a count first"):
        save_order(stocked_copy, place(stocked_copy, "P2"), ordered=2, due_on=None, now=NOW)
