"""The plan of checks in words."""

import pandas as pd
import pytest

from dashboard import check_plan_words as words
from tests.dashboard import fake_checks as fakes


@pytest.mark.parametrize(
    ("value", "said"),
    [(42.4, "42 crowns"), (9.96, "10 crowns"), (3.04, "3 crowns"), (None, "not known")],
)
def test_amounts_are_whole_from_ten_up(value, said):
    assert words.money(value, "crowns") == said


@pytest.mark.parametrize(
    ("week", "said"),
    [(0, "This week,"), (1, "Next week,"), (4, "The week")],
)
def test_weeks_are_named_by_their_monday(week, said):
    assert words.week_name(week, "2026-11-04") == f"{said} from Monday 2026-11-02"


def test_the_first_two_weeks_are_told_shop_by_shop():
    (first, sentences), (second, none) = words.first_weeks(fakes.days(), fakes.visits())
    assert (first, second) == (
        "Next week, from Monday 2026-11-02",
        "The week from Monday 2026-11-09",
    )
    assert sentences[0] == "North Yard, 2 bikes: Tuesday bike 1; Thursday bike 3."
    assert none == ["North Yard, South Yard: no bike."]


def test_many_bikes_of_a_day_are_counted():
    visits = fakes.visits(6).assign(on_day=fakes.MONDAY, label=list("abcdef"))
    assert words.shop_in_week("Yard", visits) == "Yard, 6 bikes: Monday a, b, c, d and 2 more."


def test_in_short_tells_cost_against_none_lateness_and_who_is_left():
    said = words.in_short(fakes.visits(), fakes.unplaced(), "crowns")
    assert "4 bikes to come in: 2 because the advice is to work on them now, 2 because" in said
    assert "expected to cost 16 crowns more than no check: the price of following" in said
    assert "2 bikes are late" in said
    assert "5 bikes got no day" in said


def test_reasons_that_no_bike_has_are_left_out():
    owed = fakes.visits().assign(owed=True, saves=5.0)
    said = words.in_short(owed, fakes.unplaced().iloc[:0], "")
    assert "4 because the advice is to work on them now. Together" in said
    assert "expected to cost 20 less than no check." in said
    assert "no day" not in said


def test_a_plight_counts_bikes_and_what_waiting_costs():
    rows = pd.DataFrame({"waiting_costs": [115.0, -3.0]})
    assert words.plight_words("no_part", rows, "") == (
        "No part there or due: 2 bikes, waiting costs 115 in expectation"
    )
    assert words.plight_words("cost_not_known", rows.iloc[:0], "") == (
        "Too little known to say what a check saves: 0 bikes"
    )


def test_what_the_plan_rests_on_names_days_hours_and_costs():
    said = " ".join(words.rests_on(fakes.about(), fakes.settings() | {"currency": "crowns"}))
    assert "shops check on Monday, Tuesday, Wednesday, Thursday, Friday" in said
    assert "a test takes 0.5 h, a replacement 0.8 h" in said
    assert "costs 25 crowns, however many do" in said
