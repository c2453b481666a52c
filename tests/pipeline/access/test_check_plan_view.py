"""What the page of checks reads, and the calendar file read back by the library's own parser."""

from datetime import UTC, date, datetime

import pandas as pd
import pytest
from icalendar import Calendar

from models.check_plan.schemas import CHECK_EVENTS
from pipeline.access.check_plan_view import check_calendar, check_plan_view
from pipeline.access.views import NotThereError
from tests.askers import HERE

NASTY = "F-01; A, B\\n\nEND:VEVENT"


def events(**values) -> pd.DataFrame:
    row = {
        "uid": "one@wear-atlas",
        "unit_id": "B1",
        "label": NASTY,
        "shop_id": "s1",
        "shop_name": "Weir Lane",
        "fleet_id": None,
        "on_day": pd.Timestamp("2026-11-10"),
        "todo": "Test sensor S1 on the bench.",
        "why": "It is the first day open.",
        "revision": 2,
        "changed_on": pd.Timestamp("2026-10-31"),
        "cancelled": False,
    }
    return CHECK_EVENTS.check(pd.DataFrame([row | values]))


def read_back(frame: pd.DataFrame) -> list:
    return list(Calendar.from_ical(check_calendar(frame)).walk("VEVENT"))


def test_a_home_without_records_says_so(home):
    with pytest.raises(NotThereError, match="No records are published yet"):
        check_plan_view(home, HERE)


def test_the_view_holds_the_plan_and_its_events(stocked_home):
    view = check_plan_view(stocked_home, HERE)
    assert view.about["shop_name"].tolist()[0] == "Weir Lane"
    assert set(view.visits["uid"]) <= set(view.events["uid"])
    assert view.settings["weeks_ahead"] == 6
    assert len(read_back(view.events)) == len(view.events)


def test_a_visit_takes_its_whole_day():
    (event,) = read_back(events())
    assert event.decoded("dtstart") == date(2026, 11, 10)
    assert event.decoded("dtend") == date(2026, 11, 11)
    assert event["transp"] == "TRANSPARENT"


def test_identifier_revision_and_stamp_are_those_of_the_plan():
    (event,) = read_back(events())
    assert event["uid"] == "one@wear-atlas"
    assert event["sequence"] == 2
    assert event.decoded("dtstamp") == datetime(2026, 10, 31, tzinfo=UTC)
    assert event["status"] == "CONFIRMED"


def test_text_is_escaped_and_comes_back_as_it_was():
    found = read_back(events())
    assert len(found) == 1
    assert str(found[0]["summary"]) == f"Check bike {NASTY}"
    assert str(found[0]["location"]) == "Weir Lane"


def test_the_description_tells_work_reason_and_cautions_and_calls_no_bike_safe():
    (event,) = read_back(events())
    for words in ("Test sensor S1", "first day open", "no bike safe", "Before any work"):
        assert words in str(event["description"])


def test_a_visit_planned_no_more_is_cancelled_under_its_identifier():
    (event,) = read_back(events(cancelled=True, revision=3))
    assert (event["uid"], event["status"], event["sequence"]) == ("one@wear-atlas", "CANCELLED", 3)
    assert str(event["summary"]).startswith("Cancelled: ")
    assert "Test sensor" not in str(event["description"])


def test_no_line_is_longer_than_75_octets_and_lines_end_as_the_standard_says():
    text = check_calendar(events(label="ä" * 200))
    lines = text.split(b"\r\n")
    assert max(map(len, lines)) <= 75
    assert b"\n" not in text.replace(b"\r\n", b"")


def test_a_calendar_without_events_is_still_one():
    calendar = Calendar.from_ical(check_calendar(CHECK_EVENTS.empty()))
    assert calendar["version"] == "2.0"
    assert "method" not in calendar
    assert list(calendar.walk("VEVENT")) == []
