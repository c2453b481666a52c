from dataclasses import replace

import pandas as pd
import pytest

from dashboard.what_if_words import checks_reading, file_reading, orders_reading
from models.plans.settings import PlanSettings
from pipeline.access.what_if import weigh_anew, what_if
from tests.dashboard.fake_what_if import what_if_base


@pytest.mark.parametrize(
    ("saves", "said"),
    [
        (120.4, "save 120 crowns against planning none"),
        (-80.0, "cost 80 crowns more than planning none"),
    ],
)
def test_checks_that_cost_more_than_none_say_why(saves, said):
    checks = pd.DataFrame({"visit_count": [3], "visit_count_as_built": [5], "saves": [saves]})
    words = checks_reading(checks, "crowns")
    assert words.startswith("3 visits would be planned instead of 5; in expectation they")
    assert said in words
    assert ("whatever they cost" in words) == (saves < 0)


def test_no_shop_no_check():
    assert "no check can be planned" in checks_reading(pd.DataFrame(), "")


def test_orders_that_change_are_told_beside_the_build():
    base = what_if_base()
    found = what_if(base, weigh_anew(base, {}))
    orders = found.orders
    built = {"order_parts_as_built": orders["order_parts"], "order_money_as_built": 120.0}
    same = replace(found, orders=orders.assign(**built))
    assert orders_reading(same, "").startswith("Parts to order today stay as they are")
    built["order_parts_as_built"] += 1
    other = replace(found, orders=orders.assign(**built))
    assert orders_reading(other, "").startswith("Parts to order today change in 2 places")
    assert "instead of 240" in orders_reading(other, "")


def test_a_file_as_built_needs_no_word():
    assert file_reading(what_if_base()) == ""
    changed = what_if_base(in_file=PlanSettings(test_hours=2.0))
    assert "with the next build" in file_reading(changed)
