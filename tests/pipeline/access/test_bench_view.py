"""The bench finds a bike, knows its sensors as they stand, and checks what is typed so far."""

from datetime import UTC, datetime

import pytest

from pipeline.access.bench_view import bench_view, checks_as_typed, find_bikes
from pipeline.access.reading import NotThereError
from pipeline.intake.typed.entries import save_entry
from tests.askers import HERE

NOW = datetime(2026, 6, 1, 12, tzinfo=UTC)
NEW_BIKE = {"unit_id": "B9", "shop_id": "s1", "model_code": "alder", "label": "Night 9"}
NEW_SENSOR = {"sensor_id": "S9", "unit_id": "B9", "mount": "throttle", "part_no": "P1"}


def _found(home, text):
    return find_bikes(home, HERE, text)["unit_id"].tolist()


def test_a_bike_is_found_by_part_of_its_number_plate_or_model(stocked_home):
    assert _found(stocked_home, "b2") == ["B2"]
    assert _found(stocked_home, " F-01 ") == ["B1"]
    assert _found(stocked_home, "ALDER")[0] == "B2"
    assert len(_found(stocked_home, "ALDER")) == 4
    assert _found(stocked_home, "") == _found(stocked_home, "no such") == []


def test_a_bike_registered_a_minute_ago_is_there(stocked_copy):
    save_entry(
        stocked_copy,
        {"units": [NEW_BIKE], "sensors": [NEW_SENSOR | {"origin": "original"}]},
        now=NOW,
    )
    assert _found(stocked_copy, "night") == ["B9"]
    view = bench_view(stocked_copy, HERE, "B9")
    assert not view.in_records
    assert view.odometer_km is None
    (sensor,) = view.sensors.to_dict("records")
    assert (sensor["sensor_id"], sensor["kind"], sensor["output"]) == (
        "S9",
        "potentiometer",
        "rising",
    )


def test_a_sensor_taken_off_a_minute_ago_is_not_on_the_bike(stocked_copy):
    (before,) = bench_view(stocked_copy, HERE, "B1").sensors.to_dict("records")
    assert before["sensor_id"] == "S1"
    gone = {"sensor_id": "S1", "unit_id": "B1", "mount": "throttle", "part_no": "P1"}
    save_entry(
        stocked_copy,
        {"sensors": [gone | {"origin": "fitted_here", "removed_on": "2026-05-30"}]},
        now=NOW,
    )
    assert bench_view(stocked_copy, HERE, "B1").sensors.empty


def test_a_bike_nobody_entered_is_said(stocked_home):
    with pytest.raises(NotThereError, match="no bike B404"):
        bench_view(stocked_home, HERE, "B404")


def test_readings_are_checked_as_they_are_typed(stocked_home):
    view = bench_view(stocked_home, HERE, "B1")
    sensor = view.sensors.to_dict("records")[0]
    nothing = checks_as_typed(sensor, view.bands, {})
    assert set(nothing["state"]) == {"not_read"}
    some = checks_as_typed(sensor, view.bands, {"supply_v": 4.2, "corrosion": "heavy"})
    states = dict(zip(some["check"], some["state"], strict=True))
    assert states["supply"] == states["connector_corrosion"] == "out_of_band"
    assert states["closed_v"] == "not_read"
