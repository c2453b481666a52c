"""Rows set aside come back whole, with why; what cannot be corrected row by row is listed apart."""

from pipeline.access.set_aside_rows import set_aside_in_files, set_aside_rows
from pipeline.intake.typed.entries import save_entry
from tests.askers import HERE


def test_each_row_comes_back_as_it_was_handed_in_with_what_was_wrong(faulty_home):
    found = set_aside_rows(faulty_home, HERE)
    assert {name: [row.key for row in rows] for name, rows in found.items()} == {
        "units": ["B3"],
        "odometer": ["B2/01.08.2025", "B9/2025-08-01"],
        "stock": ["s1/P1/2026-01-01"],
    }
    (count,) = found["stock"]
    assert count.place == "stock.csv:2"
    assert count.cells == {
        "shop_id": "s1", "part_no": "P1", "counted_on": "2026-01-01", "on_hand": "1.5",
    }  # fmt: skip
    assert count.because == "on_hand: expected a whole number from 0 to 1,000,000"
    date, waiting = found["odometer"]
    assert date.cells["read_on"] == "01.08.2025"
    assert "waiting for units B9" in waiting.because


def test_what_was_corrected_since_the_last_build_is_left_out(faulty_copy):
    row = {"shop_id": "s1", "part_no": "P1", "counted_on": "2026-01-01", "on_hand": 2}
    save_entry(faulty_copy, {"stock": [row]})
    assert "stock" not in set_aside_rows(faulty_copy, HERE)


def test_samples_and_whole_files_are_listed_apart(faulty_home):
    found = set_aside_in_files(faulty_home, HERE)
    assert found[["file", "table"]].fillna("").drop_duplicates().to_numpy().tolist() == [
        ["photo.csv", ""],
        ["sweeps.csv", "sweeps"],
    ]
    assert found["reason"].str.contains("waiting for test_sessions T9").any()
