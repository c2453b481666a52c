"""Rows carried over from the version before: the same as made anew, and only where that is sure."""

import json
import shutil
from datetime import date

import pytest

from pipeline.home import Home
from pipeline.intake.receive import handed_files
from pipeline.statements import connect
from pipeline.warehouse import build as build_module
from pipeline.warehouse.build import build
from pipeline.warehouse.carried import CARRIED, can_carry, is_there
from pipeline.warehouse.publish import newest
from tests.pipeline.damage_done import dump
from tests.pipeline.shop_files import SHOP, hand_in, sweep_csv

DAY = date(2026, 6, 1)
#: A fitting at more km than its first test: blanked, and its sensor stands all the same.
TOO_FAR = SHOP["sensors"].replace("2022-01-10,1000", "2022-01-10,100000")
OHM = SHOP["parts"].replace("output", "output,supply_nominal_v").replace("rising", "rising,5")
TESTS = SHOP["test_sessions"].replace(
    "sweep_channel", "sweep_channel,track_ohm,closed_ohm,open_ohm"
)
TESTS = TESTS.replace("volt,", "volt,5000,900,4200,").replace("5.00,,", "5.00,,5000,900,4200,")
BEGUN = {**SHOP, "parts": OHM, "sensors": TOO_FAR, "test_sessions": TESTS}
#: What may come in later; of each part some row is not as it was.
LATER = {
    "new tests, readings and sweeps, and a cell blanked": {
        "test_sessions": TESTS.splitlines()[0]
        + "\nT5,S2,s1,2026-03-01T10:00:00+01:00,24000,routine,5.02,volt,5000,900,4200,pass\n",
        "odometer": ("unit_id,read_on,odometer_km\nB1,2026-02-01,31000\nB2,2021-06-01,500\n"),
        "sweeps": sweep_csv("T5", rate_hz=50.0),
        "sensors": SHOP["sensors"].replace("2021-05-01,0", "2021-05-01,900"),
    },
    "rows corrected, and a blanked cell that holds": {
        "test_sessions": TESTS.replace("5.01", "4.20").replace("12000", "12500"),
        "parts": OHM.replace("rising", "falling").replace(",5", ",8"),
        "sensors": SHOP["sensors"],
    },
    "rows taken back, and a sweep once more": {
        "sweeps": sweep_csv("T1", rate_hz=80.0),
        "retract": "table,key\ntest_sessions,T3\nodometer,B2/2025-07-01\nsweeps,T2\n",
    },
    "resistances the other way": {
        "test_sessions": TESTS.replace("900,4200", "4200,900"),
    },
}


@pytest.fixture
def begun(built_once, tmp_path) -> Home:
    """A shop with sweeps, published; to be written to."""

    def fill(folder) -> None:
        home = Home(folder / "home").prepare(as_of=DAY)
        hand_in(home, folder / "a", {**BEGUN, "sweeps": sweep_csv("T1", "T2")})

    built = built_once("begun", fill)
    return Home(shutil.copytree(built.root, tmp_path / "begun"))


@pytest.fixture
def begun_with(monkeypatch) -> list[int]:
    """The versions that rows were carried over from."""
    found = []
    begin = build_module.begin_with
    monkeypatch.setattr(
        build_module,
        "begin_with",
        lambda before, draft: found.append(before.version) or begin(before, draft),
    )
    return found


@pytest.mark.parametrize("files", LATER.values(), ids=LATER)
def test_what_is_carried_over_is_what_is_made_anew(begun, begun_with, tmp_path, files):
    hand_in(begun, tmp_path / "later", files)
    build(begun)
    carried = dump(begun)
    build(begun, carry=False)
    anew = dump(begun)
    assert begun_with == [1, 2]
    assert carried.keys() == anew.keys()
    for name, rows in carried.items():
        if name != "marts.check_events":  # counts its own changes from version to version
            assert str(rows) == str(anew[name]), name  # a number that is none equals itself, too


def test_only_what_is_named_is_carried_over(begun, tmp_path):
    draft = tmp_path / "draft.duckdb"
    build_module.begin_with(newest(begun), draft)
    connection = connect(draft)
    there = connection.execute(
        "select schema_name, table_name from duckdb_tables() where not internal"
    ).fetchall()
    named = {(schema, table) for schema, tables in CARRIED.items() for table in tables}
    named |= {("marts", "sweep_contexts_before"), ("marts", "static_readings_before")}
    assert set(there) == named
    assert connection.execute("from duckdb_views() where not internal").fetchall() == []
    assert is_there(connection, "marts", "reading_values")
    assert not is_there(connection, "marts", "tests")


def _card(home: Home, **changed) -> None:
    path = home.published / "000001.json"
    path.write_text(json.dumps({**json.loads(path.read_text()), **changed}))


def test_rows_are_carried_only_from_the_same_code_and_the_same_rows(begun):
    files = handed_files(begun)
    assert can_carry(newest(begun), begun, files)
    assert not can_carry(newest(begun), begun, files[1:])
    assert not can_carry(newest(begun), begun, files[:-1])
    for code in ("another", ""):
        _card(begun, code=code)
        assert not can_carry(newest(begun), begun, files)


def test_a_file_read_otherwise_is_not_carried(begun):
    files = handed_files(begun)
    sealed = sorted(begun.rows.glob("*.json"))[0]
    card = json.loads(sealed.read_text())
    card["files"] = {name: "0" * 64 for name in card["files"]}
    sealed.write_text(json.dumps(card))
    assert not can_carry(newest(begun), begun, files)


def test_a_version_that_is_not_as_published_is_not_carried(begun, begun_with):
    with newest(begun).path.open("ab") as file:
        file.write(b"\0")
    build(begun)
    assert begun_with == []
