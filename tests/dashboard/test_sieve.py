import io

import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from dashboard import sieve
from dashboard.sieve import Sieve
from tests.dashboard.fake_views import worklist_rows

ROWS = worklist_rows(60)


@pytest.mark.parametrize(
    ("asked", "column", "values"),
    [
        (Sieve(actions=("Replace", "Leave")), "action", {"replace", "leave"}),
        (Sieve(shops=("North Yard",)), "shop_id", {"shop-1"}),
        (Sieve(fleets=("river-fleet",)), "fleet_id", {"river-fleet"}),
        (Sieve(duties=("courier",)), "duty", {"courier"}),
        (Sieve(words="BIKE U-007"), "unit_id", {"U-007"}),
        (Sieve(words="no such bike"), "unit_id", set()),
        (Sieve(words="u-007"), "unit_id", {"U-007"}),
        (Sieve(words="007 throttle"), "unit_id", {"U-007"}),
    ],
)
def test_each_filter_lets_through_what_was_asked_for(asked, column, values):
    assert set(sieve.sieved(ROWS, asked)[column]) == values
    assert asked.chosen


def test_blanks_can_be_asked_for_by_name():
    assert sieve.sieved(ROWS, Sieve(fleets=(sieve.PRIVATE,)))["fleet_id"].isna().all()
    assert sieve.sieved(ROWS, Sieve(duties=(sieve.NO_DUTY,)))["duty"].isna().all()


def test_filters_narrow_one_another():
    both = sieve.sieved(ROWS, Sieve(actions=("Test",), shops=("North Yard",)))
    assert set(both["action"]) == {"test"}
    assert set(both["shop_id"]) == {"shop-1"}


def test_characters_of_a_pattern_are_searched_as_they_are():
    assert sieve.sieved(ROWS, Sieve(words=".*")).empty


def test_without_a_choice_every_sensor_is_there_the_most_pressing_first():
    found = sieve.sieved(ROWS, Sieve())
    assert len(found) == len(ROWS)
    assert found["urgency"].is_monotonic_decreasing
    assert not Sieve(words="  ").chosen


@pytest.mark.parametrize("order", sieve.ORDERS)
def test_rows_without_the_number_sorted_by_stand_last(order):
    column, _ = sieve.ORDERS[order]
    some = ROWS.copy()
    if some[column].dtype != "str":
        some.loc[[3, 5], column] = None
        assert set(sieve.sieved(some, Sieve(order=order)).index[-2:]) == {3, 5}
    assert len(sieve.sieved(some, Sieve(order=order))) == len(some)


@given(st.integers(0, 400))
def test_the_leaves_hold_every_row_once(count):
    rows = pd.DataFrame({"n": range(count)})
    leaves = [sieve.leaf(rows, n)["n"] for n in range(1, sieve.leaf_count(count) + 1)]
    assert pd.concat(leaves).tolist() == list(range(count))
    assert all(len(leaf) <= sieve.ROWS_A_LEAF for leaf in leaves)


def test_a_leaf_beyond_the_last_is_the_last():
    assert sieve.leaf(ROWS, 99).equals(sieve.leaf(ROWS, 3))


def test_the_tally_names_each_action_even_where_there_is_none():
    assert sieve.tally(ROWS[ROWS["action"] == "test"]) == {
        "replace": 0, "test": 15, "not_enough_known": 0, "leave": 0}  # fmt: skip


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
    found = sieve.sieved(ROWS, Sieve(actions=("Test",)))
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
