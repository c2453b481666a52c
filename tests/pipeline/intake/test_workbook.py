"""Sheets come out as the contract writes its rows; the workbooks are written by openpyxl."""

from __future__ import annotations

import csv
from datetime import date, datetime, time, timedelta, timezone
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from openpyxl import Workbook

from pipeline.home import Home
from pipeline.intake.contract import TABLES
from pipeline.intake.csv_text import BrokenFileError
from pipeline.intake.receive import handed_files, left_out, receive
from pipeline.intake.workbook import cell_text, open_workbook, sheets, write_sheet
from pipeline.jobs.ingest import ingest
from tests.pipeline.shop_files import NOW, SHOP, query

ZONE = timezone(timedelta(hours=2))
TESTS = TABLES["test_sessions"]
FIELDS = {field.name: field for field in TESTS.fields}


def workbook(path: Path, **of: list[list]) -> Path:
    """A workbook with a sheet of each name; ``hidden`` in a name hides it."""
    book = Workbook()
    book.remove(book.active)
    for name, rows in of.items():
        sheet = book.create_sheet(name.removeprefix("hidden_"))
        sheet.sheet_state = "hidden" if name.startswith("hidden_") else "visible"
        for row in rows:
            sheet.append(row)
    book.save(path)
    return path


def written(path: Path, sheet: str, table: str, tmp_path: Path) -> list[str]:
    target = tmp_path / "out.csv"
    write_sheet(open_workbook(path), sheet, TABLES[table], target, ZONE)
    return target.read_text().splitlines()


@pytest.mark.parametrize(
    ("value", "column", "text"),
    [
        (41000.0, "odometer_km", "41000"),
        (4.550000000000001, "closed_v", "4.55"),
        (0.00001, "closed_v", "1e-05"),
        (True, "unplugged_key_on", "yes"),
        (False, "unplugged_key_on", "no"),
        (True, "note", "true"),
        (datetime(2026, 3, 14, 9, 30), "tested_at", "2026-03-14T09:30:00+02:00"),
        (datetime(2026, 3, 14), "note", "2026-03-14"),
        (date(2026, 3, 14), "note", "2026-03-14"),
        (time(9, 30), "note", "09:30:00"),
        ("00123", "session_id", "00123"),
        ("=1+1", "note", "=1+1"),
        ("two\r\nlines", "note", "two\nlines"),
        ("", "note", ""),
        (None, "note", ""),
    ],
)
def test_a_cell_comes_out_as_the_contract_writes_it(value, column, text):
    assert cell_text(value, FIELDS[column], ZONE) == text


@given(st.floats(-1e300, 1e300))  # beyond, rounding to 15 digits may leave the range of a number
def test_a_number_keeps_the_fifteen_digits_that_a_spreadsheet_keeps(value):
    assert float(cell_text(value, FIELDS["closed_v"])) == pytest.approx(value, rel=5e-15)


def test_lines_count_as_in_the_sheet_and_empty_columns_are_passed_over(tmp_path):
    path = workbook(
        tmp_path / "book.xlsx",
        odometer=[
            ["unit_id", None, "read_on", "odometer_km"],
            ["B1", None, date(2026, 1, 5), 7.5],
            [None],
            ["B2", None, "5.1.2026", 8],
        ],
    )
    assert written(path, "odometer", "odometer", tmp_path) == [
        "unit_id,read_on,odometer_km",
        "B1,2026-01-05,7.5",
        "",
        "B2,5.1.2026,8",
    ]


def test_text_that_looks_like_a_formula_stays_text(tmp_path):
    rows = [["unit_id", "label"], ["B1", "'=HYPERLINK(1)"], ["B2", "=1+1"]]
    path = workbook(tmp_path / "book.xlsx", units=rows)
    # a formula without a value worked out is blank; what begins like one is plain text
    assert written(path, "units", "units", tmp_path)[1:] == ["B1,'=HYPERLINK(1)", "B2,"]


def test_each_sheet_named_after_a_table_is_one_file_and_the_others_are_told(home, tmp_path):
    shop = {name: list(csv.reader(text.splitlines())) for name, text in SHOP.items()}
    path = workbook(
        tmp_path / "fleet.xlsx", **shop, Notes=[["hello"]], hidden_units_old=[["unit_id"]]
    )
    report = ingest(home, [path], now=NOW)
    assert set(report.tables["table_name"]) == set(SHOP)
    assert report.tables["set_aside"].sum() == 0
    assert report.notices == [
        "fleet.xlsx: sheet “units_old” is hidden; left out",
        "fleet.xlsx: sheet “Notes” begins with no table's name; left out",
    ]
    assert query(home, report, "select count(*) from staging.test_sessions") == [(3,)]
    kept = home.handed_in / "000001" / "workbook-0001.xlsx"
    assert kept.read_bytes() == path.read_bytes()


def test_a_workbook_of_one_sheet_may_be_named_after_the_table(home, tmp_path):
    path = workbook(tmp_path / "units-2026.xlsx", Sheet1=[["unit_id", "shop_id", "model_code"]])
    receive(home, [path], NOW)
    assert [file.name for file in handed_files(home)] == ["units-Sheet1 of units-2026.xlsx.csv"]


def test_what_is_no_workbook_is_kept_and_set_aside_whole(home, tmp_path):
    path = tmp_path / "units.xlsx"
    path.write_bytes(b"PK\x03\x04 not a zip")
    report = ingest(home, [path], now=NOW)
    ((name, reason),) = report.files.itertuples(index=False)
    assert name == "units.xlsx"
    assert reason.startswith("the workbook cannot be read")
    assert (home.handed_in / "000001" / "0001.xlsx").read_bytes() == path.read_bytes()
    with pytest.raises(BrokenFileError):
        open_workbook(path)


def test_a_workbook_without_a_table_is_set_aside_whole(home, tmp_path):
    path = workbook(tmp_path / "book.xlsx", one=[["a"]], two=[["b"]])
    report = ingest(home, [path], now=NOW)
    assert "no sheet's name begins" in report.files["reason"].iloc[0]
    assert left_out(home, 1) == []


def test_sheets_are_listed_with_whether_they_are_shown(tmp_path):
    path = workbook(tmp_path / "book.xlsx", units=[["a"]], hidden_shops=[["b"]])
    assert sheets(open_workbook(path)) == [("units", True), ("shops", False)]


def test_times_without_an_offset_are_this_machine_s(tmp_path):
    moment = datetime(2026, 3, 14, 9, 30)
    assert datetime.fromisoformat(cell_text(moment, FIELDS["tested_at"])) == moment.astimezone()


def test_a_home_that_was_never_started_can_be_looked_through(tmp_path):
    assert handed_files(Home(tmp_path / "none")) == []
