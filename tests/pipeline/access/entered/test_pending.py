"""What was typed since the last build can be looked up by table and key."""

from __future__ import annotations

from datetime import UTC, datetime

from pipeline.access.entered import pending
from pipeline.access.entered.pending import (
    LARGEST_TYPED,
    last_entry_of,
    pending_in_order,
    pending_rows,
)
from pipeline.intake.receive import receive
from pipeline.intake.typed.entries import save_entry
from tests.askers import HERE

NOW = datetime(2026, 6, 1, 12, tzinfo=UTC)


def _reading(day: str, km: int) -> dict:
    return {"unit_id": "B1", "read_on": day, "odometer_km": km}


def test_the_later_row_of_a_key_stands(home):
    save_entry(home, {"odometer": [_reading("2026-05-30", 100)]}, now=NOW)
    save_entry(
        home, {"odometer": [_reading("2026-05-30", 120), _reading("2026-05-31", 130)]}, now=NOW
    )
    found = pending_rows(home, HERE, "odometer", "units")
    assert found["units"] == {}
    km = {key: cells["odometer_km"] for key, cells in found["odometer"].items()}
    assert km == {"B1/2026-05-30": "120", "B1/2026-05-31": "130"}


def test_a_key_typed_twice_comes_twice_in_the_order_typed_with_other_tables_between(home):
    back = {"table": "odometer", "key": "B1/2026-05-30", "reason": "another bike's"}
    for rows in (
        {"odometer": [_reading("2026-05-30", 100)]},
        {"retract": [back]},
        {"odometer": [_reading("2026-05-30", 120)]},
    ):
        save_entry(home, rows, now=NOW)
    found = pending_in_order(home, HERE, "odometer", "retract")
    assert [row.table for row in found] == ["odometer", "retract", "odometer"]
    assert [row.cells.get("odometer_km") for row in found] == ["100", None, "120"]


def test_broken_rows_and_files_too_large_to_have_been_typed_are_left_to_the_build(home, tmp_path):
    broken = tmp_path / "odometer-1.csv"
    broken.write_text("unit_id,read_on,odometer_km\nB1,2026-05-30,many\n")
    large = tmp_path / "odometer-2.csv"
    large.write_text("unit_id,read_on,odometer_km\nB1,2026-05-30,1\n" + "\n" * LARGEST_TYPED)
    receive(home, [broken, large], NOW)
    assert pending_rows(home, HERE, "odometer") == {"odometer": {}}


def test_the_last_entry_of_some_tables_moves_with_them_alone(home):
    assert last_entry_of(home, "units", "calendar") == 0
    save_entry(home, {"odometer": [_reading("2026-05-30", 100)]}, now=NOW)
    assert last_entry_of(home, "units", "calendar") == 0
    back = {"table": "odometer", "key": "B1/2026-05-30", "reason": "another bike's"}
    save_entry(home, {"retract": [back]}, now=NOW)
    save_entry(home, {"odometer": [_reading("2026-05-31", 100)]}, now=NOW)
    assert last_entry_of(home, "retract") == 2
    assert last_entry_of(home, "odometer") == 3


def test_a_file_is_read_once_and_anew_where_it_was_changed(home, monkeypatch):
    save_entry(home, {"odometer": [_reading("2026-05-30", 100)]}, now=NOW)
    reads = []
    read = pending.read_into
    monkeypatch.setattr(pending, "read_into", lambda *of: reads.append(of) or read(*of))
    for _ in range(3):
        assert pending_rows(home, HERE, "odometer")["odometer"]
    assert len(reads) == 1
    (file,) = pending.pending_files(home)
    file.path.write_bytes(file.path.read_bytes() + b"B1,2026-05-31,120\n")
    assert pending_rows(home, HERE, "odometer") == {"odometer": {}}  # no longer as it came
    assert len(reads) == 2
