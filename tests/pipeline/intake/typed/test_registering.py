"""Bikes, sensors and readings registered on screen land as rows of the contract."""

from datetime import UTC, date, datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.access.entered.standing import standing_rows
from pipeline.intake.typed.entries import EntryError
from pipeline.intake.typed.registering import (
    NewSensor,
    new_sensor_id,
    refuse_taken,
    save_bike,
    save_odometer,
    save_sensors,
)
from pipeline.jobs.ingest import rebuild
from tests.askers import HERE

NOW = datetime(2026, 6, 1, 12, tzinfo=UTC)
UNIT = {"unit_id": "N1", "shop_id": "s1", "model_code": "alder"}
SENSOR = {"sensor_id": "NS", "unit_id": "N1", "mount": "throttle", "part_no": "P1"}


def test_a_bike_its_sensor_and_reading_land_in_one_save(stocked_copy):
    odometer = {"unit_id": "N1", "read_on": "2026-05-30", "odometer_km": "1200"}
    sensor = NewSensor(SENSOR | {"origin": "original"})
    save_bike(stocked_copy, UNIT, sensors=[sensor], odometer=odometer, now=NOW)
    report = rebuild(stocked_copy)
    assert report is not None
    for table, key in (("units", "N1"), ("sensors", "NS"), ("odometer", "N1/2026-05-30")):
        assert key in standing_rows(stocked_copy, HERE, table, [key]), table


def test_a_bike_changed_keeps_what_was_not_changed(stocked_copy):
    (unit,) = standing_rows(stocked_copy, HERE, "units", ["B1"]).values()
    save_bike(stocked_copy, unit | {"label": "F-99"}, now=NOW)
    (changed,) = standing_rows(stocked_copy, HERE, "units", ["B1"]).values()
    assert {k: v for k, v in changed.items() if v} == unit | {"label": "F-99"}


def test_a_bad_cell_is_named_and_nothing_is_saved(stocked_copy):
    with pytest.raises(EntryError, match="odometer_km"):
        save_odometer(stocked_copy, "B1", date(2026, 5, 1), -5, now=NOW)
    with pytest.raises(EntryError, match="read_on"):
        save_odometer(stocked_copy, "B1", None, 5, now=NOW)
    assert standing_rows(stocked_copy, HERE, "odometer", ["B1/2026-05-01"]) == {}


def test_a_part_named_by_two_sensors_is_saved_once(stocked_copy):
    part = {"part_no": "P9", "description": "new"}
    left, right = (
        SENSOR | {"sensor_id": s, "mount": f"throttle_{s}", "part_no": "P9", "origin": "original"}
        for s in ("left", "right")
    )
    both = [NewSensor(left, part, "alder"), NewSensor(right, part, "alder")]
    save_sensors(stocked_copy, both, now=NOW)
    assert "P9" in standing_rows(stocked_copy, HERE, "parts", ["P9"])
    fits = ["P9/alder/throttle_left", "P9/alder/throttle_right"]
    assert set(standing_rows(stocked_copy, HERE, "fitments", fits)) == set(fits)


def test_a_number_that_is_taken_is_refused():
    with pytest.raises(EntryError, match=r"B1.*on record already"):
        refuse_taken("units", "unit_id", "B1", taken=True)
    refuse_taken("units", "unit_id", "B1", taken=False)
    refuse_taken("units", "unit_id", "", taken=True)


@given(st.text("abcXYZ019._-", min_size=1, max_size=64), st.integers(0, 5))
def test_a_number_made_up_is_new_and_within_the_contract(unit_id, n_taken):
    taken: set[str] = set()
    for _ in range(n_taken + 1):
        made = new_sensor_id(unit_id, "throttle_right", date(2026, 3, 14), taken)
        assert made not in taken
        assert len(made) <= 64
        taken.add(made)
