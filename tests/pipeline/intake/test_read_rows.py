from datetime import date

import duckdb
import pytest

from pipeline.intake.contract import TABLES, table_of
from pipeline.intake.read_rows import expected, read_file
from pipeline.intake.receive import HandedFile
from pipeline.statements import connect

ON = date(2026, 6, 1)


def _read(tmp_path, name: str, text: str | bytes):
    path = tmp_path / f"0001.{name.rsplit('.', 1)[-1]}"
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    connection = connect()
    read_file(connection, HandedFile(1, 1, name, path, ON), tmp_path)
    rows = connection.execute(
        "select line, row_key, cells, broken from read_rows order by line"
    ).fetchall()
    issues = connection.execute(
        "select line, column_name, value, reason, effect from read_issues order by line, column_name"
    ).fetchall()
    return rows, issues


def test_a_bad_optional_cell_is_blank_and_listed_and_the_row_stands(tmp_path):
    rows, issues = _read(
        tmp_path, "units.csv", "unit_id,shop_id,model_code,duty\nB1,s1,m,racing\nB2,s1,m,tour\n"
    )
    assert [(line, key, broken) for line, key, _, broken in rows] == [
        (2, "B1", False),
        (3, "B2", False),
    ]
    assert "duty" not in rows[0][2]
    ((line, column, value, reason, effect),) = issues
    assert (line, column, value, effect) == (2, "duty", "racing", "cell")
    assert reason == "expected one of " + ", ".join(
        ("commute", "tour", "courier", "training", "hire", "offroad", "other")
    )


def test_a_blank_required_cell_sets_the_row_aside(tmp_path):
    rows, issues = _read(tmp_path, "odometer.csv", "unit_id,read_on,odometer_km\nB1,2026-01-01,\n")
    assert rows[0][3]
    assert issues[0][1] == "odometer_km"
    assert "a value is required" in issues[0][3]


@pytest.mark.parametrize(
    ("column", "value", "said"),
    [
        ("odometer_km", "14O2O", "expected a number"),
        ("odometer_km", "12,5", "with . for decimals"),
        ("odometer_km", "-5", "from 0 to 2,000,000 km"),
        ("odometer_km", "inf", "expected a number"),
        ("odometer_km", "1_000", "expected a number"),
        ("read_on", "2025-13-41", "expected a date"),
        ("read_on", "01.02.2025", "like 2026-03-14"),
        ("read_on", "1900-01-01", "from 1950 to 2100"),
        ("read_on", "2026-06-03", "after the day it was handed in"),
        ("unit_id", "B 1", "1 to 64 of letters"),
        ("unit_id", "x" * 65, "1 to 64 of letters"),
    ],
)
def test_a_bad_required_value_says_what_was_expected(tmp_path, column, value, said):
    good = {"unit_id": "B1", "read_on": "2026-01-01", "odometer_km": "5"}
    cells = {**good, column: value}
    text = ";".join(cells) + "\n" + ";".join(cells.values()) + "\n"
    rows, issues = _read(tmp_path, "odometer.csv", text)
    assert [row[3] for row in rows] == [True]
    assert issues[0][1:3] == (column, value)
    assert said in issues[0][3]


def test_lines_that_are_not_of_the_header_s_shape_are_named_and_the_rest_land(tmp_path):
    text = (
        b"unit_id,shop_id,model_code\n"
        b'B1,s1,"two\nlines"\n\nB2,s1\nB3,s1,m,extra\nB4,"s"1,m\nB5,\xff,m\nB6,s1,m\n'
    )
    rows, issues = _read(tmp_path, "units.csv", text)
    assert [(row[0], row[3]) for row in rows] == [
        (2, False),
        (5, True),
        (6, True),
        (7, True),
        (8, True),
        (9, False),
    ]
    said = {line: reason for line, _, _, reason, _ in issues}
    assert "too few values" in said[5]
    assert "too many values" in said[6]
    assert "quotes" in said[7]
    assert "not UTF-8" in said[8]


def test_an_unknown_column_is_reported_and_left_out(tmp_path):
    rows, issues = _read(tmp_path, "shops.csv", "shop_id,name,colour\ns1,Weir Lane,red\n")
    assert not rows[0][3]
    assert issues[0][1] == "colour"
    assert issues[0][4] == "notice"


def test_a_missing_required_column_sets_every_row_aside(tmp_path):
    rows, issues = _read(tmp_path, "shops.csv", "shop_id\ns1\ns2\n")
    assert [row[3] for row in rows] == [True, True]
    assert [(issue[0], issue[1], issue[4]) for issue in issues] == [
        (2, "name", "row"),
        (3, "name", "row"),
    ]


@pytest.mark.parametrize(
    ("name", "text", "said"),
    [
        ("letters.csv", "a\n1\n", "begins with no table's name"),
        ("units.xlsx", "PK", "expected .csv or .parquet"),
        ("units.csv", "%PDF-1.7 nothing\n", "this is a PDF"),
        ("units.csv", "unit_id,shop_id,model_code\rB1,s1,m\r", "carriage return alone"),
        ("units.parquet", b"PAR1 cut off", "cannot be read"),
        ("units.parquet", b"", "cannot be read"),
        ("units.csv", 'unit_id,shop_id,model_code\nB"1,s1,m\nB"2,s1,m\nB"3,s1,m\n', "quote"),
    ],
)
def test_a_wholly_broken_file_is_one_issue(tmp_path, name, text, said):
    rows, issues = _read(tmp_path, name, text)
    assert rows == []
    assert len(issues) == 1
    assert issues[0][4] == "file"
    assert said in issues[0][3]


def test_parquet_gives_the_same_cells_as_csv(tmp_path):
    text = "unit_id,read_on,odometer_km\nB1,2026-01-01,12.5\nB2,2026-01-02,\n"
    (tmp_path / "x.csv").write_text(text)
    duckdb.sql(
        f"copy (from read_csv('{tmp_path}/x.csv')) to '{tmp_path}/x.parquet' (format parquet)"
    )
    from_csv, _ = _read(tmp_path, "odometer.csv", text)
    from_parquet, _ = _read(tmp_path, "odometer.parquet", (tmp_path / "x.parquet").read_bytes())
    assert [row[1:] for row in from_csv] == [row[1:] for row in from_parquet]


def test_a_nested_parquet_column_is_refused(tmp_path):
    duckdb.sql(
        f"copy (select 's1' as shop_id, ['a', 'b'] as name) to '{tmp_path}/x.parquet' (format parquet)"
    )
    _, issues = _read(tmp_path, "shops.parquet", (tmp_path / "x.parquet").read_bytes())
    assert "column name holds lists or structures" in issues[0][3]


def test_lines_stay_right_over_many_rows(tmp_path):
    lines = [f"B{i},s1,m" for i in range(30_000)]
    lines[20_000] = "B20000,s1"
    rows, issues = _read(tmp_path, "units.csv", "unit_id,shop_id,model_code\n" + "\n".join(lines))
    assert issues[0][0] == 20_002
    assert (rows[-1][0], rows[-1][1]) == (30_001, "B29999")


def test_the_longest_table_name_wins_and_every_kind_is_explained():
    assert table_of("test_sessions-2026-11.csv").name == "test_sessions"
    assert table_of("retract-june.csv").name == "retract"
    assert table_of("notes.csv") is None
    for table in TABLES.values():
        for field in table.fields:
            assert expected(field)


def test_a_time_without_an_offset_is_not_taken(tmp_path):
    text = "session_id,sensor_id,tested_at,odometer_km\nT1,S1,2026-01-01T09:00:00,5\n"
    rows, issues = _read(tmp_path, "test_sessions.csv", text)
    assert rows[0][3]
    assert "with its offset" in issues[0][3]


@pytest.mark.parametrize("offset", ["+99:99", "+24:00", "-16:00", "+01:60", "+0160"])
def test_an_offset_beyond_any_place_on_earth_is_not_taken(tmp_path, offset):
    text = f"session_id,sensor_id,tested_at,odometer_km\nT1,S1,2026-01-01T09:00:00{offset},5\n"
    rows, issues = _read(tmp_path, "test_sessions.csv", text)
    assert rows[0][3]
    assert "with its offset" in issues[0][3]


@pytest.mark.parametrize("offset", ["Z", "+14:00", "-12", "+0545", "-00:00"])
def test_the_offsets_in_use_are_taken(tmp_path, offset):
    text = f"session_id,sensor_id,tested_at,odometer_km\nT1,S1,2026-01-01T09:00:00{offset},5\n"
    rows, issues = _read(tmp_path, "test_sessions.csv", text)
    assert not rows[0][3]
    assert not issues


@pytest.mark.parametrize(
    ("error", "said"),
    [(ZeroDivisionError("no such luck"), "no such luck"), (MemoryError(), "Memory")],
)
def test_an_error_that_nobody_foresaw_sets_one_file_aside_and_no_more(
    tmp_path, monkeypatch, error, said
):
    def fall_over(*_: object) -> None:
        raise error

    monkeypatch.setattr("pipeline.intake.read_rows.number_lines", fall_over)
    rows, issues = _read(tmp_path, "units.csv", "unit_id,shop_id,model_code\nB1,s1,m\n")
    assert rows == []
    assert [issue[4] for issue in issues] == ["file"]
    assert said in issues[0][3]


def test_many_unknown_columns_take_few_lines(tmp_path):
    header = "shop_id,name," + ",".join(f"c{i}" for i in range(500))
    rows, issues = _read(tmp_path, "shops.csv", header + "\ns1,x" + "," * 500 + "\n")
    assert not rows[0][3]
    assert len(issues) == 11
    assert {issue[1] for issue in issues} >= {"c0", "490 more"}


def test_a_day_written_as_a_utc_midnight_is_that_day(tmp_path):
    text = "unit_id,read_on,odometer_km\nB1,2026-01-01 00:00:00+00,5\n"
    rows, _ = _read(tmp_path, "odometer.csv", text)
    assert rows[0][1] == "B1/2026-01-01"
