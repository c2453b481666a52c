import csv
import random
from datetime import date

import pytest

from pipeline.intake import wide_rows
from pipeline.intake.contract import TABLES, Table
from pipeline.intake.read_rows import read_into
from pipeline.intake.receive import HandedFile
from pipeline.statements import connect
from tests.fuzz.made_files import ODD, good_cell

ON = date(2026, 6, 1)
ROWS_TABLES = [table for table in TABLES.values() if not table.bulk]
#: One value written in many ways, and values at the edge of what is taken.
WRITINGS = (
    "12.50", "+5", "5.0", "5.00", "5.5", "1e3", "1E-3", "-0", "-0.0", "00", "007", "0.0001", "0.00001",
    "0.1234567890123456789", "123456789.123456", "999999999.99999", "123456789012345678", "2.0e0",
    " 5", "5 ", "\t5", "2026-03-14 00:00:00+00", "2026-03-14T00:00Z", "2026-03-14 ", "1949-12-31",
    "1950-01-01", "2100-12-31", "2101-01-01", "19500-01-01", "2026-02-29", "2024-02-29", "2026-06-02",
    "2026-06-03", "2026-06-02T23:59:59Z", "2026-06-03T00:00:00Z", "2026-3-14", "2026-03-14 (BC)",
    "2026-03-14 09:30:00+00", "2026-03-14T09:30+01", "2026-03-14T09:30:00.1234567+0530",
    "2026-03-14T09:30:00.123456Z", "2026-03-14T24:00:00Z", "2026-02-30T09:30:00Z", "2100-01-01T00:00:00Z",
    "2026-03-14T09:30:60Z", "2026-03-14T09:30:00+15:59", "P0122  P0123", "P0122\tP0123", "P0122 ", "P4122",
)  # fmt: skip


def _written(path, table: Table, rows: list[list[str]]) -> HandedFile:
    with path.open("w", encoding="utf-8", newline="") as file:
        csv.writer(file, lineterminator="\n").writerows([table.names, *rows])
    return HandedFile(1, 1, f"{table.name}.csv", path, ON)


def _good_rows(lot: random.Random, table: Table, count: int) -> list[list[str]]:
    return [
        [
            good_cell(lot, field) if field.required or lot.random() < 0.6 else ""
            for field in table.fields
        ]
        for _ in range(count)
    ]


def _read(file: HandedFile) -> tuple[list, list, int]:
    """Rows and issues, and how many rows had a closer look."""
    connection = connect()
    connection.execute("create temp table doubtful_rows as select 1 as line limit 0")
    read_into(connection, file)
    rows, issues = (
        connection.execute(f"from read_{name} order by all").fetchall()
        for name in ("rows", "issues")
    )
    (looked_at,) = connection.execute("select count(*) from doubtful_rows").fetchone()
    return rows, issues, looked_at


def _read_both_ways(file: HandedFile, monkeypatch) -> int:
    """Read as ever, and with a closer look at every row; how many had none."""
    rows, issues, looked_at = _read(file)
    with monkeypatch.context() as patched:
        patched.setattr(wide_rows, "_doubt", lambda field: "true")
        closely = _read(file)
    assert (rows, issues) == closely[:2]
    assert closely[2] == len(rows)
    return len(rows) - looked_at


@pytest.mark.parametrize("table", ROWS_TABLES, ids=lambda table: table.name)
def test_a_row_taken_as_it_lies_is_what_a_closer_look_makes_of_it(table, tmp_path, monkeypatch):
    lot = random.Random(table.name)  # noqa: S311 - no secret
    odd = [text for text in (*ODD, *WRITINGS) if "\r" not in text]
    rows = _good_rows(lot, table, 4 * len(odd))
    for number, row in enumerate(rows[: 3 * len(odd)]):
        row[lot.randrange(len(row))] = odd[number % len(odd)]
    file = _written(tmp_path / "0001.csv", table, rows)
    assert _read_both_ways(file, monkeypatch) >= len(odd)


def test_every_number_is_taken_as_a_closer_look_takes_it(tmp_path, monkeypatch):
    lot = random.Random(1)  # noqa: S311 - no secret
    numbers = [f"{lot.uniform(-2, 30):.{n % 9}f}" for n in range(1000)]
    numbers += [f"{10 ** lot.uniform(-9, 0):.{n % 11}f}" for n in range(1000)]
    numbers += [repr(10 ** lot.uniform(-9, 9)) for _ in range(1000)]
    numbers += [f"{lot.randrange(10**9)}.{lot.randrange(10**5):05d}" for _ in range(1000)]
    fields = [name for name in TABLES["parts"].names if name not in ("part_no", "description")]
    rows = [
        [f"P{n}", "x", *(number if name == fields[n % len(fields)] else "" for name in fields)]
        for n, number in enumerate(numbers)
    ]
    file = _written(tmp_path / "0001.csv", TABLES["parts"], rows)
    assert _read_both_ways(file, monkeypatch) > 500


def test_every_offset_is_taken_as_a_closer_look_takes_it(tmp_path, monkeypatch):
    offsets = [
        f"{sign}{hour:02d}{minutes}"
        for sign in "+-"
        for hour in range(18)
        for minutes in ("", *(f"{mark}{m:02d}" for mark in ("", ":") for m in (0, 1, 30, 59, 60)))
    ]
    rows = [["U1", f"2026-03-14T09:30:00{offset}", "0", "1"] for offset in offsets]
    file = _written(tmp_path / "0001.csv", TABLES["ride_log"], rows)
    assert _read_both_ways(file, monkeypatch) == 2 * 15 * 9


@pytest.mark.parametrize("table", ROWS_TABLES, ids=lambda table: table.name)
def test_good_rows_need_no_closer_look(table, tmp_path):
    lot = random.Random(2)  # noqa: S311 - no secret
    rows = _good_rows(lot, table, 50)
    found, issues, looked_at = _read(_written(tmp_path / "0001.csv", table, rows))
    assert (len(found), issues, looked_at) == (50, [], 0)


def test_one_bad_cell_is_all_that_is_looked_at(tmp_path):
    rows = [[f"U{n}", "2026-01-01", str(n)] for n in range(500)]
    rows[250][2] = "2 500"
    found, issues, looked_at = _read(_written(tmp_path / "0001.csv", TABLES["odometer"], rows))
    assert looked_at == 1
    assert [(line, broken) for line, *_, broken in found if broken] == [(252, True)]
    assert [issue[:4] for issue in issues] == [(252, "U250/2026-01-01", "odometer_km", "2 500")]


def test_a_number_is_kept_as_one_text_however_it_is_written(tmp_path):
    rows = [["U1", "2026-01-01", text] for text in ("12.5", "12.50", "+12.5", "1.25e1", "012.5")]
    found, issues, _ = _read(_written(tmp_path / "0001.csv", TABLES["odometer"], rows))
    assert {row[3]["odometer_km"] for row in found} == {"12.5"}
    assert len({row[2] for row in found}) == 1
    assert not issues
