"""What calendars hold, plan after plan."""

from __future__ import annotations

from datetime import date, timedelta

import pandas as pd

from models.check_plan.answers import lasting_uid
from models.check_plan.events import KEPT_DAYS, events_after
from models.check_plan.plan import plan_checks
from models.check_plan.schemas import CHECK_EVENTS
from tests.models.check_plan.records import AS_OF, on, records, sensor

LATER = AS_OF + timedelta(days=7)


def visits(*sensors, as_of: date = AS_OF, **more) -> pd.DataFrame:
    return plan_checks(records(*sensors, **more), as_of).visits


def first() -> pd.DataFrame:
    return events_after(CHECK_EVENTS.empty(), visits(sensor("a"), windows=(("a", 12, 12),)), AS_OF)


def test_a_visit_first_planned_is_revision_none():
    row = first().iloc[0]
    assert (row["revision"], bool(row["cancelled"])) == (0, False)
    assert row["changed_on"] == on(0)


def test_the_same_visit_again_stays_as_it_was():
    again = events_after(first(), visits(sensor("a"), windows=(("a", 12, 12),)), LATER)
    pd.testing.assert_frame_equal(again, first())


def test_a_visit_on_another_day_is_the_same_one_revised():
    moved = events_after(first(), visits(sensor("a"), windows=(("a", 13, 13),)), LATER)
    assert moved["uid"].tolist() == first()["uid"].tolist()
    assert moved["revision"].tolist() == [1]
    assert moved["on_day"].tolist() == [on(13)]
    assert moved["changed_on"].tolist() == [pd.Timestamp(LATER)]


def test_a_visit_planned_no_more_is_cancelled_once_and_told_for_a_while():
    none = visits()
    gone = events_after(first(), none, LATER)
    assert (gone["cancelled"].tolist(), gone["revision"].tolist()) == ([True], [1])
    again = events_after(gone, none, LATER + timedelta(days=1))
    pd.testing.assert_frame_equal(again, gone)
    long_after = AS_OF + timedelta(days=12 + KEPT_DAYS + 1)
    assert events_after(gone, none, long_after).empty


def test_a_visit_whose_day_has_come_is_not_cancelled():
    assert events_after(first(), visits(), AS_OF + timedelta(days=12)).empty


def test_a_cancelled_visit_planned_again_is_revised_once_more():
    gone = events_after(first(), visits(), LATER)
    back = events_after(gone, visits(sensor("a"), windows=(("a", 12, 12),)), LATER)
    assert (back["cancelled"].tolist(), back["revision"].tolist()) == ([False], [2])


def test_the_identifier_lasts_until_the_bike_is_tested_again():
    assert lasting_uid("yard", "a", None) == lasting_uid("yard", "a", float("nan"))
    assert lasting_uid("yard", "a", "B-1") == lasting_uid("yard", "a", "B-1")
    uids = {
        lasting_uid(*of) for of in (("yard", "a", None), ("yard", "a", "B-1"), ("x", "a", None))
    }
    assert len(uids) == 3
