from datetime import date

import pytest

from models.plans.open_days import dates, dates_text, weekdays, weekdays_text
from models.plans.settings import PlanSettings


def test_days_come_back_in_order_and_once():
    assert weekdays("Friday, mon, FR") == (0, 4)
    assert weekdays_text(["sun", "Saturday"]) == "Saturday, Sunday"
    assert dates("2027-01-01, 2026-12-25,") == (date(2026, 12, 25), date(2027, 1, 1))
    assert dates_text([date(2026, 12, 25), "2026-12-25"]) == "2026-12-25"
    assert dates("") == ()


@pytest.mark.parametrize("value", ["", "M", "Monday to Friday", [1], None, "Mondays"])
def test_what_is_no_day_of_the_week_is_refused(value):
    with pytest.raises(ValueError, match="days of the week"):
        weekdays(value)


@pytest.mark.parametrize("value", ["2026-02-30", "tomorrow", 20261225, ["2026-12-25", None]])
def test_what_is_no_date_is_refused(value):
    with pytest.raises(ValueError, match="dates as 2026-12-25"):
        dates(value)


def test_settings_refuse_days_that_are_none():
    with pytest.raises(ValueError, match="closed_days is 'soon', expected dates"):
        PlanSettings(closed_days="soon")
