"""The plan of checks in words."""

import pandas as pd
import pytest

from dashboard.wording import check_plan_words as words
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


def test_in_short_counts_checks_that_pay_and_checks_that_are_owed_apart():
    said = words.in_short(fakes.visits(), fakes.unplaced(), "crowns")
    assert said[0] == "4 bikes to come in."
    assert said[1] == (
        "2 checks pay by themselves: together they are expected to cost 84 crowns less than none."
    )
    assert said[2] == (
        "2 checks are owed though expected to cost 100 crowns more than none: 1 where work is "
        "advised (50 crowns more), 1 of private bikes of which not enough is known (50 crowns "
        "more)."
    )
    assert said[3] == "2 bikes are late: no later day is cheaper than the first."
    assert said[4] == "1 visit rests on a part that today's stock plan only advises to get."
    assert said[5] == "5 bikes got no day, listed below with the reason."


def test_fleet_bikes_of_which_not_enough_is_known_are_told_from_private_ones():
    visits = fakes.visits().assign(owed_for="not_known", saves=-10.0, fleet_id=["f", None, "", "f"])
    said = words.in_short(visits, fakes.unplaced(), "")[1]
    assert "2 of fleet bikes of which not enough is known (20 ¤ more)" in said
    assert "2 of private bikes of which not enough is known (20 ¤ more)" in said


def test_reasons_that_no_bike_has_are_left_out():
    owed = fakes.visits().assign(owed=True, saves=5.0, needs_advised_part=False, late=False)
    said = words.in_short(owed, fakes.unplaced().iloc[:0], "")
    assert said[1:] == [
        "4 checks pay by themselves (4 of them asked for by the worklist too): together they are "
        "expected to cost 20 ¤ less than none."
    ]
    one = words.in_short(owed.iloc[:1].assign(owed=False), fakes.unplaced().iloc[:0], "")
    assert one == [
        "1 bike to come in.",
        "1 check pays by itself: expected to cost 5 ¤ less than none.",
    ]


def test_no_visit_is_said_and_no_reason_given():
    said = words.in_short(fakes.visits().iloc[:0], fakes.unplaced().iloc[:0], "")
    assert said == ["No bike is to come in for a check in these weeks."]


def test_numbers_in_a_file_are_rounded():
    rows = pd.DataFrame({"saves": [12.34567], "part_needed": [0.12345], "unit_id": ["a"]})
    kept = words.rounded(rows).iloc[0].to_dict()
    assert kept == {"saves": 12.35, "part_needed": 0.123, "unit_id": "a"}


def test_a_plight_counts_bikes_and_what_waiting_costs():
    rows = pd.DataFrame({"waiting_costs": [115.0, -3.0]})
    assert words.plight_words("no_part", rows, "") == (
        "No part there or due: 2 bikes, waiting costs 115 ¤ in expectation"
    )
    assert words.plight_words("cost_not_known", rows.iloc[:0], "") == (
        "Too little known to say what a check saves: 0 bikes"
    )


def test_what_the_plan_rests_on_names_days_hours_and_costs():
    said = " ".join(words.rests_on(fakes.about(), fakes.settings() | {"currency": "crowns"}))
    assert "shops check on Monday, Tuesday, Wednesday, Thursday, Friday" in said
    assert "a test takes 0.5 h, a replacement 0.8 h" in said
    assert "costs 25 crowns, however many do" in said
    assert "Friday, closed on 2026-12-25 (settings" in said
    assert "private bikes are asked in too (a setting" in said
    wait = fakes.settings() | {"private_not_known": "wait", "closed_days": "", "weeks_ahead": 1}
    said = " ".join(words.rests_on(fakes.about(), wait))
    assert "1 week is planned" in said
    assert "no closed days named" in said
    assert "private bikes wait until they come for something else" in said
