"""Rows typed on screen go the way of every file, and nothing is saved that cannot stand."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.intake.receive import handed_files, last_hand_in
from pipeline.intake.typed.entries import EntryError, entry_troubles, save_entry

NOW = datetime(2026, 6, 1, 12, tzinfo=UTC)
READING = {"unit_id": "B1", "read_on": "2026-05-30", "odometer_km": 20_500}


def test_rows_of_several_tables_come_in_as_one_hand_in(home):
    number = save_entry(home, {"units": [{"unit_id": "B1"} | UNIT], "odometer": [READING]}, now=NOW)
    assert number == last_hand_in(home) == 1
    assert [file.name for file in handed_files(home)] == ["odometer.csv", "units.csv"]


UNIT = {"shop_id": "s1", "model_code": "alder", "label": None}


def test_a_cell_that_cannot_stand_is_named_and_nothing_is_saved(home):
    rows = {"odometer": [READING, READING | {"odometer_km": "twelve", "read_on": "30.5.2026"}]}
    with pytest.raises(EntryError) as refused:
        save_entry(home, rows, now=NOW)
    assert [(t.table, t.line, t.column, t.value) for t in refused.value.troubles] == [
        ("odometer", 2, "odometer_km", "twelve"),
        ("odometer", 2, "read_on", "30.5.2026"),
    ]
    assert "expected" in str(refused.value)
    assert last_hand_in(home) == 0


def test_a_wrong_cell_that_may_be_blank_is_refused_too(home):
    troubles = entry_troubles({"units": [{"unit_id": "B1", "duty": "racing"} | UNIT]}, now=NOW)
    assert [(t.column, t.value) for t in troubles] == [("duty", "racing")]


def test_a_day_to_come_is_refused_where_the_contract_wants_the_past():
    later = READING | {"read_on": "2026-06-09"}
    assert [t.column for t in entry_troubles({"odometer": [later]}, now=NOW)] == ["read_on"]


def test_a_sweep_without_a_number_is_refused(home):
    sweep = b"session_id,t_s,signal\nT1,now,high\nT1,then,low\n"
    with pytest.raises(EntryError, match="expected numbers"):
        save_entry(home, {}, files={"sweeps.csv": sweep}, now=NOW)
    assert last_hand_in(home) == 0


def test_saves_at_once_from_many_hands_are_all_there(home):
    def save(km: int) -> int:
        return save_entry(home, {"odometer": [READING | {"odometer_km": km}]}, now=NOW)

    with ThreadPoolExecutor(8) as pool:
        numbers = list(pool.map(save, range(16)))
    assert sorted(numbers) == list(range(1, 17))
    kept = {file.path.read_text().split(",")[-1].strip() for file in handed_files(home)}
    assert kept == {str(km) for km in range(16)}
    assert not list(home.handed_in.glob(".draft-*"))


def test_a_save_does_not_wait_for_a_builder(home):
    with home.one_builder():
        assert save_entry(home, {"odometer": [READING]}, now=NOW) == 1


@settings(max_examples=25)
@given(st.text(st.characters(codec="utf-8", exclude_characters="\x00"), max_size=60))
def test_whatever_is_written_in_a_note_is_kept_or_named(note):
    test = {
        "session_id": "T1",
        "sensor_id": "S1",
        "tested_at": "2026-05-30T09:00:00+00:00",
        "odometer_km": 20_500,
        "note": note,
    }
    assert entry_troubles({"test_sessions": [test]}, now=NOW) == []


def test_a_damaged_file_of_column_names_stops_no_entry(home):
    home.column_names.write_text("{", encoding="utf-8")
    row = {"shop_id": "s1", "name": "Weir Lane"}
    assert save_entry(home, {"shops": [row]}, now=NOW) == 1


def test_half_a_character_is_named_and_nothing_is_saved(home):
    rows = {"shops": [{"shop_id": "s1", "name": "a\ud800b"}]}
    with pytest.raises(EntryError) as refused:
        save_entry(home, rows)
    (trouble,) = refused.value.troubles
    assert (trouble.line, trouble.column, trouble.value) == (1, "name", "a\\ud800b")
    assert list(refused.value.troubles) == entry_troubles(rows)
    assert not list(home.handed_in.glob("0*"))
