"""What is on the shelf today: since the count, on its way, stale or never counted."""

import pandas as pd
import pytest

from models.stock import schemas
from models.stock.settings import StockSettings
from models.stock.shelf import shelf_today
from tests.models.stock.simulated_stock import DAY, count, frame

WANTED = pd.DataFrame({"shop_id": ["north"], "part_no": ["P"], "lead_time_days": [14]})


def shelf(*counts):
    rows = frame(schemas.STOCK_COUNTS, counts)
    return shelf_today(WANTED, rows, DAY, StockSettings()).iloc[0]


def test_parts_fitted_since_the_count_are_off_the_shelf():
    row = shelf(count(on_hand=4, used_since=1, counted_on="2026-10-01"))
    assert (row["counted"], row["used_since"], row["on_hand"]) == (4, 1, 3)


def test_more_fitted_than_counted_came_from_what_was_on_order():
    row = shelf(count(on_hand=1, on_order=4, used_since=3, order_due_on="2026-11-20"))
    assert (row["on_hand"], row["due"]) == (0, 2)
    assert shelf(count(on_hand=1, used_since=3))["on_hand"] == 0


@pytest.mark.parametrize(
    ("due_on", "state", "in_days"),
    [("2026-11-20", "due", 20), ("2026-10-20", "overdue", 7), (None, "assumed", 14)],
)
def test_an_order_comes_when_it_is_due(due_on, state, in_days):
    row = shelf(count(on_order=2, order_due_on=due_on))
    assert (row["due_state"], row["due_in_days"], row["due"]) == (state, in_days, 2)


def test_nothing_on_order_has_no_day():
    row = shelf(count(on_hand=2, order_due_on="2026-11-20"))
    assert row["due_state"] == "none"
    assert pd.isna(row["due_on"])


@pytest.mark.parametrize(
    ("counted_on", "state"), [("2026-09-01", "counted"), ("2026-08-31", "stale")]
)
def test_a_count_goes_stale_after_60_days(counted_on, state):
    assert shelf(count(counted_on=counted_on))["count_state"] == state


def test_a_part_never_counted_is_taken_as_not_there():
    row = shelf()
    assert (row["count_state"], row["on_hand"], row["due"]) == ("never", 0, 0)
    assert pd.isna(row["counted"])
