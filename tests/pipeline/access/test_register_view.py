"""What the forms of bikes, sensors and jobs offer, what was typed a moment ago included."""

from datetime import UTC, datetime

import pytest

from pipeline.access.reading import NotThereError
from pipeline.access.register_view import job_view, register_view
from pipeline.intake.typed.registering import NewSensor, save_bike, save_odometer
from tests.askers import HERE

NOW = datetime(2026, 6, 1, 12, tzinfo=UTC)
UNIT = {"unit_id": "N1", "shop_id": "s2", "model_code": "birch", "fleet_id": "f9"}
SENSOR = {"sensor_id": "NS", "unit_id": "N1", "mount": "throttle", "part_no": "P9"}


def _register(home):
    sensor = NewSensor(
        SENSOR | {"origin": "original"}, {"part_no": "P9", "description": "new"}, "birch"
    )
    shop = {"shop_id": "s2", "name": "Second Street"}
    save_bike(home, UNIT, shop=shop, sensors=[sensor], now=NOW)


def test_all_that_is_on_record_can_be_chosen(stocked_home):
    choices = register_view(stocked_home, HERE).choices
    assert list(choices.shops) == ["s1"]
    assert set(choices.parts) == {"P1", "P2"}
    assert choices.models == ("alder",)
    assert choices.fleets == ("f1",)


def test_what_was_typed_a_moment_ago_can_be_chosen_too(stocked_copy):
    _register(stocked_copy)
    choices = register_view(stocked_copy, HERE).choices
    assert choices.shops["s2"]["name"] == "Second Street"
    assert "P9" in choices.parts
    assert choices.models == ("alder", "birch")
    assert choices.fleets == ("f1", "f9")
    assert choices.fits("P9", "birch", "throttle")
    assert choices.parts_for("birch", "throttle")[0] == "P9"


def test_a_bike_comes_with_its_row_its_sensors_rows_and_its_odometer(stocked_home):
    view = register_view(stocked_home, HERE, "B1")
    assert view.unit["label"] == "F-01"
    assert view.sensors["S1"]["fitted_km"] == "1000"
    assert view.odometer_km == 26_000


def test_a_reading_typed_a_moment_ago_is_the_last_one(stocked_copy):
    save_odometer(stocked_copy, "B1", datetime(2026, 5, 30).date(), 31_000, now=NOW)
    assert register_view(stocked_copy, HERE, "B1").odometer_km == 31_000


def test_a_bike_just_registered_is_there(stocked_copy):
    _register(stocked_copy)
    view = register_view(stocked_copy, HERE, "N1")
    assert view.sensors["NS"]["part_no"] == "P9"
    assert view.odometer_km is None


def test_a_bike_nobody_entered_is_said(stocked_home):
    with pytest.raises(NotThereError, match="no bike B404"):
        register_view(stocked_home, HERE, "B404")


def test_a_job_offers_the_tests_and_repairs_behind_it(stocked_home):
    view = job_view(stocked_home, HERE, "B1")
    assert view.tests["session_id"].tolist() == ["T2", "T1"]
    assert view.repairs["outcome_id"].tolist() == ["R1"]


def test_a_test_just_entered_stands_first(stocked_copy):
    from pipeline.intake.typed.entries import save_entry

    row = {"session_id": "N7", "sensor_id": "S1", "tested_at": "2026-05-30T09:00:00+02:00"}
    save_entry(stocked_copy, {"test_sessions": [row | {"odometer_km": 29_000}]}, now=NOW)
    tests = job_view(stocked_copy, HERE, "B1").tests
    assert tests["session_id"].tolist() == ["N7", "T2", "T1"]
