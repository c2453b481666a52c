"""Files made to break a reader: each ends as one sentence, within bounds, and nothing falls over."""

from __future__ import annotations

import gzip
import io
import re
import subprocess
import sys
import zipfile
from pathlib import Path

import pyarrow as pa
import pytest
from openpyxl import Workbook
from pyarrow import parquet
from pyarrow.csv import write_csv

from pipeline.environment import CHECKOUT
from pipeline.intake import read_rows
from pipeline.intake.csv_text import BrokenFileError
from pipeline.intake.receive import handed_files, receive
from pipeline.intake.workbook import open_workbook
from tests.fuzz.made_files import as_workbook
from tests.pipeline.intake.test_read_rows import _read
from tests.pipeline.shop_files import NOW

UNITS = b"unit_id,shop_id,model_code\nB1,s1,m\n"


def _book(sheet: bytes = b"", **parts: bytes) -> bytes:
    """A workbook with another sheet than it should have, and further parts."""
    out = io.BytesIO()
    with (
        zipfile.ZipFile(io.BytesIO(as_workbook(["unit_id"], [["B1"]], "units"))) as good,
        zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as book,
    ):
        for name in good.namelist():
            is_sheet = name.endswith("sheet1.xml") and sheet
            book.writestr(name, sheet if is_sheet else good.read(name))
        for name, content in parts.items():
            book.writestr(name, content)
    return out.getvalue()


_MAIN = b'<worksheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"><sheetData>'
_CELL = b'<row r="%d"><c r="%s"><v>1</v></c></row>'
_END = b"</sheetData></worksheet>"
FAR = _MAIN + _CELL % (1, b"A1") + _CELL % (1_048_576, b"XFD1048576") + _END


def test_a_sheet_that_claims_every_cell_is_refused_and_the_process_lives(tmp_path):
    path = tmp_path / "units.xlsx"
    path.write_bytes(_book(FAR))
    assert path.stat().st_size < 2000
    with pytest.raises(BrokenFileError, match="more than can be held in memory"):
        open_workbook(path)


def test_a_sheet_that_unpacks_to_gigabytes_is_refused(tmp_path, monkeypatch):
    monkeypatch.setattr("pipeline.intake.bounded_workbook.MOST_BYTES", 400 << 20)
    path = tmp_path / "units.xlsx"
    text = b'<row><c t="inlineStr"><is><t>' + b"x" * (150 << 20) + b"</t></is></c></row>"
    path.write_bytes(_book(_MAIN + text + _END))
    assert path.stat().st_size < 1 << 20
    with pytest.raises(BrokenFileError, match="more than can be held in memory"):
        open_workbook(path)


def test_a_workbook_refused_is_handed_in_whole_with_its_reason(home, tmp_path):
    path = tmp_path / "units.xlsx"
    path.write_bytes(_book(FAR))
    receive(home, [path], NOW)
    (file,) = handed_files(home)
    assert "more than can be held in memory" in file.trouble
    assert file.path.read_bytes() == path.read_bytes()


@pytest.mark.parametrize(
    ("name", "content", "said"),
    [
        ("units.csv", _book(), "packed file such as a workbook"),
        ("units.csv", gzip.compress(UNITS, mtime=0), r"packed file \(.gz\)"),
        ("units.csv", b"\xd0\xcf\x11\xe0" + b"\x00" * 600, "old or encrypted workbook"),
        ("units.csv", b"PAR1\x00\x01", "by its content this is Parquet"),
        ("units.csv", b"\x7fELF\x02\x01\x01\x00", "a program"),
        ("units.csv", bytes(range(256)), "not text"),
        ("units.csv", UNITS.decode().encode("utf-16"), "UTF-16"),
        ("units.csv", UNITS.decode().encode("utf-16-le"), "not text"),
        ("units.csv", b"", "zero bytes"),
        ("units.csv", b"\n\n\n", "names no column"),
        ("units.csv", b"unit_id,unit_id\n1,2\n", "names unit_id twice"),
        ("units.parquet", UNITS, "no Parquet"),
        ("units.parquet", _book(), "packed file such as a workbook"),
        ("units.parquet", gzip.compress(b"PAR1" * 99, mtime=0), r"packed file \(.gz\)"),
        ("units.parquet", b"PAR1" + b"\xff" * 300 + b"PAR1", "is damaged"),
    ],
)
def test_content_tells_what_a_file_is(tmp_path, name, content, said):
    rows, issues = _read(tmp_path, name, content)
    assert rows == []
    ((_, _, _, reason, effect),) = issues
    assert effect == "file"
    assert re.search(said, reason)
    assert "expected" in reason or "zero bytes" in reason or "twice" in reason


@pytest.mark.parametrize("suffix", [".xlsx", ".xls", ".ods", ".xlsb"])
@pytest.mark.parametrize("content", [UNITS, b"", b"\xd0\xcf\x11\xe0" + b"\x00" * 600, b"PAR1"])
def test_a_workbook_in_name_only_is_refused(tmp_path, suffix, content):
    path = tmp_path / f"units{suffix}"
    path.write_bytes(content)
    with pytest.raises(BrokenFileError, match="cannot be read"):
        open_workbook(path)


def test_headers_alone_are_no_rows(tmp_path):
    assert _read(tmp_path, "units.csv", UNITS.splitlines()[0]) == ([], [])


def test_ten_thousand_columns_cost_a_notice(tmp_path):
    names = [f"a column of no use {n}" for n in range(10_000)]
    header = ",".join(["unit_id", "shop_id", "model_code", *names])
    rows, issues = _read(tmp_path, "units.csv", f"{header}\nB1,s1,m{',' * 10_000}\n")
    assert [row[3] for row in rows] == [False]
    assert len(issues) == 11


def test_a_parquet_file_that_claims_too_many_rows_is_refused(tmp_path, monkeypatch):
    monkeypatch.setattr(read_rows, "MOST_ROWS", 1_000_000)
    table = pa.table({"unit_id": pa.DictionaryArray.from_arrays(pa.repeat(0, 2_000_000), ["B1"])})
    out = io.BytesIO()
    parquet.write_table(table, out, compression="zstd")
    assert len(out.getvalue()) < 20_000
    _, issues = _read(tmp_path, "units.parquet", out.getvalue())
    assert "it holds 2,000,000 rows" in issues[0][3]


def test_parquet_nested_without_end_is_refused(tmp_path):
    kind = pa.int64()
    for _ in range(30):
        kind = pa.list_(kind)
    out = io.BytesIO()
    parquet.write_table(pa.table({"shop_id": ["s1"], "name": pa.array([None], kind)}), out)
    _, issues = _read(tmp_path, "shops.parquet", out.getvalue())
    assert issues[0][4] == "file"
    assert "lists or structures" in issues[0][3]


def test_a_cell_of_megabytes_costs_its_own_row(tmp_path):
    text = UNITS + b"B2,s1," + b"x" * 3_000_000 + b"\nB3,s1,m\n"
    rows, issues = _read(tmp_path, "units.csv", text)
    assert [(row[0], row[3]) for row in rows] == [(2, False), (3, True), (4, False)]
    assert issues[0][0] == 3
    assert "too long" in issues[0][3]
    assert len(issues[0][2]) <= 500


_HUGE = """
import resource, sys
from datetime import date
from pathlib import Path
from pipeline.intake.read_rows import read_into
from pipeline.intake.receive import HandedFile
from pipeline.statements import connect
path = Path(sys.argv[1])
with path.open("wb") as file:
    file.write(b"unit_id,shop_id,model_code\\nB1,s1,m\\nB2,s1,")
    file.seek(2 << 30, 1)  # a hole of the disk: nothing is written
    file.write(b"\\n")
connection = connect()
before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
read_into(connection, HandedFile(1, 1, path.name, path, date(2026, 6, 1)))
after = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
print((after - before) // 1024)
print(connection.execute("select reason from read_issues").fetchall())
"""


def test_a_cell_of_two_gigabytes_is_refused_before_it_is_read(tmp_path):
    path = tmp_path / "units.csv"
    done = subprocess.run(
        [sys.executable, "-c", _HUGE, str(path)],
        capture_output=True,
        text=True,
        cwd=CHECKOUT,
        check=True,
    )
    path.unlink()
    grown_mb, said = done.stdout.splitlines()
    assert "line 3 is longer than 16,777,216 bytes" in said
    assert int(grown_mb) < 400


def test_merged_cells_hold_their_first_value_and_blanks(tmp_path):
    book = Workbook()
    sheet = book.active
    sheet.title = "units"
    for row in (["unit_id", "shop_id", "model_code"], ["B1", "s1", "m"], ["B2", None, "m"]):
        sheet.append(row)
    sheet.merge_cells("B2:B3")
    book.save(tmp_path / "units.xlsx")
    found = open_workbook(tmp_path / "units.xlsx").get_sheet_by_name("units").to_python()
    assert [row[1] for row in found] == ["shop_id", "s1", ""]


@pytest.mark.parametrize(
    "name",
    [
        "units..\\..\\x.csv", "units\x01\x1b[31m.csv", "units\u202evsc.csv", "units" + "x" * 245 + ".csv",
        "units;rm -rf.csv", "units'); drop table raw;--.csv", "units*.csv", "units?{1,2}[a].csv",
        "units %s$HOME`id`.csv", "units<script>.csv", "CON.units.csv", "units.csv.", "-rf units.csv",
    ],
)  # fmt: skip
def test_no_name_from_outside_becomes_a_path_or_a_statement(home, tmp_path, name):
    folder = tmp_path / "in"
    folder.mkdir()
    (folder / name).write_bytes(UNITS)
    receive(home, [folder], NOW)
    (file,) = handed_files(home)
    assert file.name == name
    assert file.path.parent == home.handed_in / "000001"
    assert file.path.name.removeprefix("0001").isascii()
    assert file.path.read_bytes() == UNITS
    assert sorted(path.name for path in (home.root).iterdir() if path.name.startswith("x")) == []


@pytest.mark.parametrize("target", ["/dev/zero", "nowhere", "."])
def test_links_and_devices_are_set_aside_and_never_read(home, tmp_path, target):
    folder = tmp_path / "in"
    folder.mkdir()
    (folder / "units.csv").symlink_to(target)
    receive(home, [folder], NOW)
    (file,) = handed_files(home)
    assert file.trouble
    assert not Path(file.path).exists()


def test_each_odd_value_is_named_with_its_line_column_and_what_was_expected(tmp_path):
    odd = {
        "unit_id": ["B\u202e1", "\u200fB1", "B\x00", "B\x07", "B\u200b1", "e\u0301", "../B1", "B1\u2028"],
        "read_on": ["1900-01-01", "2200-01-01", "0000-00-00", "10000-01-01", "2026-02-30"],
        "odometer_km": [
            *("1e12", "nan", "NaN", "inf", "-Infinity", "1_0", "0x10", "\u0967", "1e999"),
            *("9" * 400, "-" + "9" * 400, "1" + "0" * 399 + "e-999999"),
        ],
    }  # fmt: skip
    good = {"unit_id": "B1", "read_on": "2026-01-01", "odometer_km": "5"}
    cells = [(name, value) for name, values in odd.items() for value in values]
    lines = [";".join((good | {name: value}).values()) for name, value in cells]
    text = "\n".join([";".join(good), *lines, ";".join(good.values())])
    rows, issues = _read(tmp_path, "odometer.csv", text)
    lasting = [issue for issue in issues if issue[2] != "1" + "0" * 399 + "e-999999"]
    named = [(line, column, value) for line, column, value, _, _ in lasting]
    assert named == [(line, name, value) for line, (name, value) in enumerate(cells[:-1], start=2)]
    assert all("expected" in reason for _, _, _, reason, _ in issues)
    assert rows[-1][1] == "B1/2026-01-01"


@pytest.mark.parametrize("kind", ["csv", "parquet"])
def test_names_of_columns_are_names_whatever_stands_in_them(tmp_path, kind):
    hostile = ["a'b", 'c"d', "'); drop table raw; --", "{e}", "$latest_day", "UNIT_ID", "f\\", ""]
    table = pa.table({"unit_id": ["B1"], "shop_id": ["s1"], "model_code": ["m"]})
    for name in hostile:
        table = table.append_column(name, pa.array(["x"]))
    out = io.BytesIO()
    (parquet.write_table if kind == "parquet" else write_csv)(table, out)
    rows, issues = _read(tmp_path, f"units.{kind}", out.getvalue())
    assert [row[1] for row in rows] == ["B1"], issues
    assert {issue[4] for issue in issues} == {"notice"}
