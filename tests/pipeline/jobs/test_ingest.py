import csv
import shutil

import pytest

from pipeline.commands import main, report_text
from pipeline.home import DEMO, Home
from pipeline.jobs.ingest import ensure_current, ingest, rebuild
from pipeline.statements import connect
from pipeline.warehouse.publish import newest
from tests.pipeline.shop_files import SHOP, hand_in, query, sweep_csv, write_files


def _set_aside(home: Home) -> list[dict]:
    with home.set_aside.open(newline="") as file:
        return list(csv.DictReader(file))


def test_set_aside_csv_has_the_contract_s_columns(home, tmp_path):
    hand_in(
        home,
        tmp_path / "a",
        {**SHOP, "stock": "shop_id,part_no,counted_on,on_hand\ns1,P1,2026-01-01,1.5\n"},
    )
    assert _set_aside(home) == [
        {
            "file": "stock.csv",
            "line": "2",
            "table": "stock",
            "key": "s1/P1/2026-01-01",
            "column": "on_hand",
            "value": "1.5",
            "reason": "expected a whole number from 0 to 1,000,000",
        }
    ]


def test_the_rows_to_correct_can_be_corrected_and_handed_in_again(home, tmp_path):
    head, first, *others = SHOP["test_sessions"].replace("9000", "9OOO").splitlines()
    lines = [f"{head},note,symptom", f"{first},=1+1,-2", *(f"{line},," for line in others)]
    hand_in(home, tmp_path / "a", {**SHOP, "test_sessions": "\n".join(lines)})
    waiting = (home.to_correct / "test_sessions.csv").read_text()
    assert "9OOO" in waiting
    assert "'=1+1" in waiting  # not worked out by a spreadsheet, and yet handed in as it was
    report = hand_in(home, tmp_path / "b", {"test_sessions": waiting.replace("9OOO", "9000")})
    assert _set_aside(home) == []
    assert report.notices == []
    assert not (home.to_correct / "test_sessions.csv").exists()
    kept = "select odometer_km, note, symptom from staging.test_sessions where session_id = 'T1'"
    assert query(home, report, kept) == [(9000.0, "=1+1", "-2")]


def test_rows_that_had_waited_are_reported_when_they_come_in(home, tmp_path):
    first = hand_in(home, tmp_path / "a", {k: v for k, v in SHOP.items() if k != "sensors"})
    assert first.came_in == 0
    assert hand_in(home, tmp_path / "b", {"sensors": SHOP["sensors"]}).came_in == 4


def test_a_corrected_supply_measures_that_sweep_anew_and_no_other(home, tmp_path):
    hand_in(home, tmp_path / "a", {**SHOP, "sweeps": sweep_csv("T1", "T2")})
    kept = {path.name for path in home.measured.iterdir()}
    hand_in(home, tmp_path / "b", {"test_sessions": SHOP["test_sessions"].replace("5.01", "4.90")})
    added = [path for path in home.measured.iterdir() if path.name not in kept]
    assert len(added) == 6  # five results and their seal
    connection = connect()
    (measures,) = [path for path in added if ".measures." in path.name]
    assert connection.execute(f"select session_id from '{measures}'").fetchall() == [("T1",)]


def test_the_command_prints_the_accounting_and_what_was_set_aside_whole(tmp_path, capsys):
    folder = write_files(
        tmp_path / "a", {**SHOP, "stock": b"", "odometer": SHOP["odometer"] + "B9,2025-01-01,5\n"}
    )
    (folder / "calendar.csv").mkdir()
    assert main(["ingest", "--home", str(tmp_path / "home"), str(folder)]) == 0
    printed = capsys.readouterr().out
    line = next(line for line in printed.splitlines() if line.split()[0] == "odometer")
    assert line.split() == ["odometer", "3", "2", "2", "0", "0", "1", "1"]
    assert "stock.csv: set aside whole: the file is empty (zero bytes)" in printed
    assert "calendar.csv: set aside whole: a folder" in printed


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["ingest", "--home", "{demo}", "{file}"], "never mix"),
        (["rebuild", "--home", "{empty}"], "holds no records yet"),
        (["ingest", "--home", "{empty}", "{empty}/units.cvs"], "No such file or folder"),
        (["ingest", "--home", "{file}", "{file}"], "Not a directory"),
    ],
)
def test_a_command_that_cannot_go_on_says_why_in_one_line(tmp_path, capsys, arguments, said):
    Home(tmp_path / "demo").prepare(DEMO)
    file = write_files(tmp_path / "a", {"shops": SHOP["shops"]}) / "shops.csv"
    names = {"demo": tmp_path / "demo", "empty": tmp_path / "empty", "file": file}
    assert main([argument.format(**names) for argument in arguments]) == 1
    printed = capsys.readouterr().err
    assert said in printed
    assert len(printed.splitlines()) == 1


def test_a_row_settled_within_the_same_hand_in_is_said_to_be(home, tmp_path):
    files = {**SHOP, "odometer": SHOP["odometer"] + "B1,2025-08-01,2 7000\n"}
    files["odometer-2"] = "unit_id,read_on,odometer_km\nB1,2025-08-01,27000\n"
    report = hand_in(home, tmp_path / "a", files)
    assert (report.settled, report.set_aside_count) == (1, 0)
    assert "1 of the rows set aside are settled by a later row already" in report_text(report)


def test_the_list_of_reasons_is_harmless_in_a_spreadsheet(home, tmp_path):
    odometer = SHOP["odometer"] + 'B1,2025-08-01,"=cmd()"\nB1,2025-08-02,-5\n'
    hand_in(home, tmp_path / "a", {**SHOP, "odometer": odometer})
    assert [row["value"] for row in _set_aside(home)] == ["'=cmd()", "-5"]


def test_a_file_name_that_is_not_utf_8_is_taken_in_all_the_same(home, tmp_path):
    folder = write_files(tmp_path / "a", SHOP)
    with open(bytes(folder) + b"/units-\xff.csv", "wb") as file:
        file.write(b"unit_id,shop_id,model_code\nB7,s1,alder\n")
    report = ingest(home, [folder])
    assert query(home, report, "select count(*) from staging.units where unit_id = 'B7'") == [(1,)]


@pytest.mark.long
@pytest.mark.parametrize(
    ("name", "rows"),
    [
        ("odometer-b", "read_on,odometer_km\n2025-08-01,1\n2025-08-01,2\n"),
        ("odometer-b", "unit_id,read_on,odometer_km\n,2025-08-01,1\n,2025-08-01,2\n"),
        ("units-b", "unit_id,shop_id,model_code,duty\nB 9,s1,m,tour\nB 9,s1,m,hire\n"),
    ],
)
def test_rows_wrong_in_two_ways_are_handed_back_and_the_next_hand_in_goes_on(
    home, tmp_path, name, rows
):
    report = hand_in(home, tmp_path / "a", {**SHOP, name: rows})
    assert report.set_aside_count >= 2
    assert hand_in(home, tmp_path / "b", {"shops": SHOP["shops"]}).manifest.version == 2


@pytest.mark.long
def test_results_left_by_a_killed_batch_are_not_counted_twice(home, tmp_path):
    files = {**SHOP, "sweeps": sweep_csv("T1", "T2")}
    before = query(
        home, hand_in(home, tmp_path / "a", files), "select count(*) from marts.sweep_passes"
    )
    for path in list(home.measured.glob("*.passes.parquet")):
        shutil.copy(path, path.with_name("left-over-0000.passes.parquet"))
    report = hand_in(home, tmp_path / "b", {"shops": SHOP["shops"]})
    assert query(home, report, "select count(*) from marts.sweep_passes") == before


@pytest.mark.long
def test_samples_that_were_lost_are_read_again(home, tmp_path):
    report = hand_in(home, tmp_path / "a", {**SHOP, "sweeps": sweep_csv("T1")})
    (kept,) = home.sweeps_by_shop.rglob("*.parquet")
    for path in [kept, *home.measured.iterdir()]:
        path.unlink()
    rebuild(home)
    assert kept.exists()
    assert query(home, report, "select count(*) from marts.sweep_measures") == [(1,)]
    again = hand_in(home, tmp_path / "b", {"shops": SHOP["shops"]})
    assert query(home, again, "select count(*) from marts.sweep_measures") == [(1,)]


@pytest.mark.long
def test_yesterday_s_records_are_judged_anew_today(home, tmp_path):
    hand_in(home, tmp_path / "a", SHOP)
    ensure_current(home)
    assert newest(home).version == 1
    card = home.published / "000001.json"
    card.write_text(card.read_text().replace(newest(home).as_of, "2026-01-01"))
    ensure_current(home)
    assert newest(home).version == 2
