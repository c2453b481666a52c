import io

import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from dashboard import sieve
from dashboard.sieve import Sieve
from pipeline.access.worklist_view import NO_ANSWER, ORDERED_BY, found_from
from pipeline.intake.contract import ANSWERS
from tests.dashboard.fake_views import warehouse_of, worklist_rows, worklist_view

ROWS = worklist_rows(60)


@given(st.integers(0, 400))
def test_the_leaves_hold_every_row_once(count):
    rows = pd.DataFrame({"n": range(count)})
    leaves = [sieve.leaf(rows, n)["n"] for n in range(1, sieve.leaf_count(count) + 1)]
    assert pd.concat(leaves).tolist() == list(range(count))
    assert all(len(leaf) <= sieve.ROWS_A_LEAF for leaf in leaves)


def test_a_leaf_beyond_the_last_is_the_last():
    assert sieve.leaf(ROWS, 99).equals(sieve.leaf(ROWS, 3))


def test_the_tally_names_each_action_even_where_there_is_none():
    summary = worklist_view(ROWS[ROWS["action"] == "test"]).summary
    assert sieve.tally(summary) == {
        "replace": 0, "test": 15, "not_enough_known": 0, "leave": 0}  # fmt: skip


def test_shops_of_one_name_are_asked_for_apart():
    rows = ROWS.assign(shop_name="Yard")
    assert sieve.asked_of(Sieve(shops=("Yard (shop-1)",)), rows).shops == ("shop-1",)
    assert sieve.asked_of(Sieve(shops=("Yard",)), rows).shops == ()
    assert sieve.asked_of(Sieve(), rows).shops is None


def test_every_order_and_answer_offered_is_known_to_the_records():
    assert set(sieve.ORDERS.values()) == set(ORDERED_BY)
    assert set(sieve.STATES) == {NO_ANSWER, *ANSWERS}


def test_the_address_holds_the_filters_that_are_set_and_no_others():
    assert sieve.address(Sieve(), 1) == {}
    asked = Sieve(words=" x ", shops=("A", "B"), order="Bike")
    assert sieve.address(asked, 3) == {
        "find": "x",
        "shop": ["A", "B"],
        "order": "Bike",
        "leaf": "3",
    }


def test_two_shops_of_one_name_are_told_apart():
    rows = ROWS.assign(shop_name="Yard")
    assert set(sieve.shop_names(rows)) == {"Yard (shop-0)", "Yard (shop-1)"}


def test_the_export_has_every_row_asked_for_and_units_in_its_names():
    asked = sieve.asked_of(Sieve(actions=("Test",)), ROWS)
    found = found_from(warehouse_of(ROWS), asked, {})
    assert len(found) == 15
    back = pd.read_csv(io.BytesIO(sieve.exported(found)))
    assert back["sensor_id"].tolist() == found["sensor_id"].tolist()
    assert back["since_test_km"].tolist() == found["km_since_test"].tolist()
    assert back["chance_of_defect_now_0_to_1"].eq(0.04).all()
    bare = [n for n in back.columns if n.startswith("defect") or n == "km_since_test"]
    assert bare == []


@pytest.mark.parametrize("text", ["=1+1", "+1+1", "-1-1", "@x", "\tx", " =x", "\uff1d1"])
def test_text_that_a_spreadsheet_would_run_is_made_harmless(text):
    line = sieve.csv(pd.DataFrame({"note": [text, "plain"]})).decode("utf-8-sig").splitlines()
    assert "'" + text in line[1]
    assert line[2] == "plain"


def test_words_of_a_choice_are_made_harmless_too():
    rows = pd.DataFrame({"note": pd.Categorical(["=1", "b", "=1"])})
    assert sieve.csv(rows).decode("utf-8-sig").splitlines() == ["note", "'=1", "b", "'=1"]


def test_negative_numbers_stay_numbers_in_the_export():
    assert b"-5.5" in sieve.csv(pd.DataFrame({"n": [-5.5]}))
    assert b"'-5.5" not in sieve.csv(pd.DataFrame({"n": [-5.5]}))
    assert b"'" not in sieve.csv(pd.DataFrame({"n": ["-5.5", "+3e-4", "-.5"]}))
