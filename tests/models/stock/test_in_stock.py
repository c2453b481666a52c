"""What is there for each group of a shop and a number."""

from datetime import date

import numpy as np

from models.stock.in_stock import in_stock
from models.stock.settings import StockSettings
from tests.models.stock.simulated_stock import count, part, part_need, records


def there(**values):
    ended = part("OLD", replaced_by="NEW", supply_ends_on=date(2025, 1, 1))
    found = records(
        part_need(["north"] * 2, ["OLD", "NEW"], 1.0), parts=[ended, part("NEW")], **values
    )
    who = found.demand
    day, settings = found.day, StockSettings()
    return in_stock(who.groups, who.classes, found.parts, found.counts, day, settings)


def test_parts_due_within_the_cycle_are_there_from_their_day_on():
    due = count(part_no="NEW", on_hand=2, on_order=3, order_due_on="2026-11-18")
    found = there(counts=[due])
    assert found.days.tolist() == [[14.0, 18.0, 21.0]]
    assert found.on_hand.tolist() == [2]
    by_day = [found.there_by(found.days[:, k]).tolist() for k in range(3)]
    assert by_day == [[2], [5], [5]]


def test_old_stock_is_there_for_the_number_in_its_place():
    due = count(part_no="OLD", on_hand=1, on_order=2, order_due_on="2026-11-17")
    found = there(counts=[due])
    assert found.old_numbers.to_dict("records") == [{"used_for": "OLD", "old_on_hand": 1}]
    (by_day,) = found.old_by(found.days).values()
    # with nothing due of the new number itself, its cycle is not cut in two
    assert np.array_equal(by_day, [1, 1, 3])


def test_a_group_without_older_numbers_uses_none():
    found = there()
    assert found.old_numbers["old_on_hand"].tolist() == [0]
    assert found.there_by(found.days[:, 2]).tolist() == [0]
