import pandas as pd

from dashboard.wording.what_if_words import checks_reading, file_reading, orders_reading
from models.plans.settings import PlanSettings
from pipeline.access.what_if import orders_if, weigh_anew
from tests.dashboard.fake_what_if import what_if_base


def checks(**values) -> pd.DataFrame:
    told = {"visit_count": 3, "visit_count_as_built": 5, "owed_count": 0, "owed_adds": 0.0}
    return pd.DataFrame([told | values])


def test_visits_that_pay_and_visits_that_are_owed_are_told_apart():
    words = checks_reading(checks(saves=-80.0, owed_count=2, owed_adds=100.0), "crowns")
    assert words == (
        "3 visits would be planned instead of 5. In expectation 1 that pays by itself saves 20 "
        "crowns against none, and 2 that the worklist asks for though they cost more than none add "
        "100 crowns (a model's estimate)."
    )


def test_where_every_visit_pays_none_is_called_owed():
    words = checks_reading(checks(saves=120.4), "crowns")
    assert "In expectation 3 that pay by themselves save 120 crowns against none (a" in words
    assert "worklist" not in words


def test_no_visit_has_no_cost():
    none = checks(visit_count=0, saves=0.0)
    assert checks_reading(none, "") == "0 visits would be planned instead of 5."


def test_no_shop_no_check():
    assert "no check can be planned" in checks_reading(pd.DataFrame(), "")


def test_orders_that_change_are_told_beside_the_build():
    base = what_if_base()
    orders = orders_if(base, weigh_anew(base, PlanSettings()))
    built = {"order_parts_as_built": orders["order_parts"], "order_money_as_built": 120.0}
    same = orders.assign(**built)
    assert orders_reading(same, "").startswith("Parts to order today stay as they are")
    built["order_parts_as_built"] += 1
    other = orders.assign(**built)
    assert orders_reading(other, "").startswith("Parts to order today change in 2 places")
    assert "instead of 240" in orders_reading(other, "")


def test_a_file_as_built_needs_no_word():
    assert file_reading(what_if_base()) == ""
    changed = what_if_base(in_file=PlanSettings(test_hours=2.0))
    assert "with the next build" in file_reading(changed)
