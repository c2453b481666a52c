"""A job closed: the outcome, and where a sensor was changed, both lives, all in one save."""

from datetime import UTC, datetime

import pytest

from pipeline.access.entered.standing import standing_rows
from pipeline.access.views import bike_view
from pipeline.intake.typed.closing import Fitted, close_job
from pipeline.intake.typed.entries import EntryError
from pipeline.jobs.ingest import rebuild
from tests.askers import HERE

NOW = datetime(2026, 6, 1, 12, tzinfo=UTC)
JOB = {
    "closed_on": "2026-05-30",
    "odometer_km": "29000",
    "action": "sensor_replaced",
    "fault_confirmed": "yes",
    "confirmed_by": "opened",
    "session_id": "T2",
}


def _old(home):
    return standing_rows(home, HERE, "sensors", ["S1"])["S1"]


def test_a_replacement_ends_the_old_life_and_begins_the_new(stocked_copy):
    close_job(stocked_copy, _old(stocked_copy), JOB, Fitted("P2", {}, "alder"), now=NOW)
    rebuild(stocked_copy)
    lives = bike_view(stocked_copy, HERE, "B1").sensors.set_index("sensor_id")
    assert lives.loc["S1", "removed_reason"] == "faulty"
    assert lives.loc["S1", "to_km"] == 29_000
    (new,) = lives.index[lives["in_service"]]
    assert lives.loc[new, "part_no"] == "P2"
    assert (lives.loc[new, "from_km"], lives.loc[new, "origin"]) == (29_000, "fitted_here")
    latest = bike_view(stocked_copy, HERE, "B1").repairs.sort_values("closed_on").iloc[-1]
    assert (latest["sensor_id"], latest["event"]) == ("S1", "defect")


def test_the_old_row_keeps_all_its_other_cells(stocked_copy):
    before = _old(stocked_copy)
    close_job(stocked_copy, before, JOB, Fitted("P1", {}), now=NOW)
    after = {name: cell for name, cell in _old(stocked_copy).items() if cell}
    ends = {"removed_on": "2026-05-30", "removed_km": "29000", "removed_reason": "faulty"}
    assert after == before | ends


def test_a_repair_leaves_the_sensor_on_the_bike(stocked_copy):
    job = JOB | {"action": "connector_repaired", "fault_confirmed": "no"}
    close_job(stocked_copy, _old(stocked_copy), job, Fitted("P2", {}), now=NOW)
    assert not _old(stocked_copy).get("removed_on")
    rebuild(stocked_copy)
    assert bike_view(stocked_copy, HERE, "B1").advice["sensor_id"].tolist() == ["S1"]


@pytest.mark.parametrize(
    ("said", "reason"),
    [
        ({"fault_confirmed": "yes"}, "faulty"),
        ({"fault_confirmed": "no"}, "other"),
        ({"fault_confirmed": None}, "other"),
        ({"fault_confirmed": "no", "removed_reason": "preventive"}, "preventive"),
    ],
)
def test_why_it_came_off_follows_what_was_said(stocked_copy, said, reason):
    close_job(stocked_copy, _old(stocked_copy), JOB | said, Fitted("P1", {}), now=NOW)
    assert _old(stocked_copy)["removed_reason"] == reason


@pytest.mark.parametrize(
    ("job", "fitted", "named"),
    [
        (JOB, None, "part fitted is missing"),
        (JOB, Fitted("", {}), "part fitted is missing"),
        (JOB | {"odometer_km": "900"}, Fitted("P1", {}), "before the sensor was fitted"),
        (JOB | {"closed_on": "2021-01-01"}, Fitted("P1", {}), "before the sensor was fitted"),
        (JOB | {"closed_on": None}, Fitted("P1", {}), "the day is missing"),
        (JOB, Fitted("P1", {}, "", "S1"), "sensor taken off"),
        (JOB | {"labour_hours": "-1"}, Fitted("P1", {}), "labour_hours"),
        (JOB | {"action": None}, None, "action"),
    ],
)
def test_what_cannot_stand_is_named_and_nothing_is_saved(stocked_copy, job, fitted, named):
    with pytest.raises(EntryError, match=named):
        close_job(stocked_copy, _old(stocked_copy), job, fitted, now=NOW)
    assert not _old(stocked_copy).get("removed_on")
