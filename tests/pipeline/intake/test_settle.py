import csv

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from pipeline.home import Home
from pipeline.intake.receive import receive
from pipeline.intake.settle import read_all, settle
from pipeline.statements import connect
from tests.pipeline.shop_files import NOW, SHOP, write_files


def _settle(home: Home):
    connection = connect()
    settle(connection, home, read_all(connection, home))
    return connection


def _take(home: Home, folder, files):
    receive(home, [write_files(folder, files)], NOW)
    return _settle(home)


def _outcomes(connection, table: str):
    return connection.execute(
        "select row_key, outcome from intake.row_outcomes where table_name = ? order by row_id",
        [table],
    ).fetchall()


def _aside(connection):
    return connection.execute(
        "select table_name, row_key, column_name, reason from intake.set_aside"
    ).fetchall()


def _accounts_hold(connection) -> bool:
    return all(
        handed == accepted + aside and accepted == new + replaced + unchanged
        for handed, accepted, aside, new, replaced, unchanged in connection.execute(
            "select handed_in, accepted, set_aside, new_rows, replaced, unchanged from intake.accounting"
        ).fetchall()
    )


def test_a_sound_shop_lands_whole(home, tmp_path):
    connection = _take(home, tmp_path / "a", SHOP)
    assert _aside(connection) == []
    assert set(
        connection.execute("select distinct outcome from intake.row_outcomes").fetchall()
    ) == {("new",)}


def test_a_row_waits_for_its_parent_and_comes_in_by_itself(home, tmp_path):
    connection = _take(home, tmp_path / "a", {k: v for k, v in SHOP.items() if k != "sensors"})
    assert ("T1", "waiting") in _outcomes(connection, "test_sessions")
    assert ("R1", "waiting") in _outcomes(connection, "repair_outcomes")
    assert ("test_sessions", "T1", "sensor_id", "waiting for sensors S1") in _aside(connection)
    connection = _take(home, tmp_path / "b", {"sensors": SHOP["sensors"]})
    assert ("T1", "new") in _outcomes(connection, "test_sessions")
    assert _aside(connection) == []


def test_the_same_file_again_changes_nothing(home, tmp_path):
    _take(home, tmp_path / "a", SHOP)
    connection = _take(home, tmp_path / "b", SHOP)
    assert [o for _, o in _outcomes(connection, "units")] == [
        "new",
        "new",
        "unchanged",
        "unchanged",
    ]
    assert connection.execute("select count(*) from intake.standing").fetchone() == (12,)


def test_a_later_row_replaces_and_both_are_traceable(home, tmp_path):
    _take(home, tmp_path / "a", SHOP)
    changed = SHOP["units"].replace("courier", "hire")
    connection = _take(home, tmp_path / "b", {"units": changed})
    assert ("B1", "replacing") in _outcomes(connection, "units")
    kept = connection.execute(
        "select cells['duty'] from intake.rows where row_key = 'B1' and table_name = 'units' order by row_id"
    ).fetchall()
    assert kept == [("courier",), ("hire",)]


def test_later_within_one_hand_in_is_by_file_name(home, tmp_path):
    files = {**SHOP, "units-2": SHOP["units"].replace("courier", "hire")}
    connection = _take(home, tmp_path / "a", files)
    assert connection.execute(
        "select cells['duty'] from intake.standing where row_key = 'B1' and table_name = 'units'"
    ).fetchall() == [("hire",)]


def test_a_key_twice_in_one_file(home, tmp_path):
    odometer = SHOP["odometer"] + "B1,2025-06-01,26000\nB2,2025-07-01,20500\n"
    connection = _take(home, tmp_path / "a", {**SHOP, "odometer": odometer})
    assert _outcomes(connection, "odometer") == [
        ("B1/2025-06-01", "new"),
        ("B2/2025-07-01", "broken"),
        ("B1/2025-06-01", "unchanged"),
        ("B2/2025-07-01", "broken"),
    ]
    reasons = {reason for *_, reason in _aside(connection)}
    assert len(reasons) == 1
    assert "stands 2 times in this file with different values (lines 3, 5)" in reasons.pop()


def test_a_corrected_row_clears_its_line_from_the_list(home, tmp_path):
    broken = SHOP["test_sessions"].replace("9000", "9OOO")
    connection = _take(home, tmp_path / "a", {**SHOP, "test_sessions": broken})
    assert [row[:3] for row in _aside(connection)] == [("test_sessions", "T1", "odometer_km")]
    connection = _take(home, tmp_path / "b", {"test_sessions": SHOP["test_sessions"]})
    assert _aside(connection) == []
    assert _outcomes(connection, "test_sessions")[-3:] == [
        ("T1", "new"),
        ("T2", "unchanged"),
        ("T3", "unchanged"),
    ]


def test_a_broken_replacement_leaves_the_earlier_row_standing(home, tmp_path):
    _take(home, tmp_path / "a", SHOP)
    connection = _take(
        home, tmp_path / "b", {"test_sessions": SHOP["test_sessions"].replace("9000", "9OOO")}
    )
    assert connection.execute(
        "select cells['odometer_km'] from intake.standing where row_key = 'T1'"
    ).fetchall() == [("9000",)]


def test_a_retraction_withdraws_and_its_children_wait(home, tmp_path):
    _take(home, tmp_path / "a", SHOP)
    connection = _take(
        home, tmp_path / "b", {"retract-1": "table,key,reason\ntest_sessions,T2,typed twice\n"}
    )
    assert ("R1", "waiting") in _outcomes(connection, "repair_outcomes")
    connection = _take(home, tmp_path / "c", {"test_sessions": SHOP["test_sessions"]})
    assert ("R1", "new") in _outcomes(connection, "repair_outcomes")


def test_a_retraction_of_nothing_is_set_aside(home, tmp_path):
    connection = _take(home, tmp_path / "a", {"retract": "table,key,reason\nunits,B9,gone\n"})
    assert "no row of units with this key was handed in before" in _aside(connection)[0][3]


@pytest.mark.parametrize(
    ("table", "old", "new", "key", "column", "said"),
    [
        ("test_sessions", "2023-01-10T09", "2021-12-01T09", "T1", "tested_at", "was fitted on 2022"),
        ("repair_outcomes", "2024-01-12", "2021-01-12", "R1", "closed_on", "was fitted on 2022"),
        ("test_sessions", "T1,S1,s1,2023-01-10T09:00:00+00:00,9000", "T1,S1,s1,2023-01-10T09:00:00+00:00,90000", "T1", "odometer_km", "runs backwards"),
        ("odometer", "B1,2025-06-01,26000", "B1,2025-06-01,2600", "B1/2025-06-01", "odometer_km", "runs backwards"),
        ("units", "tour,2021-05-01", "tour,2027-05-01", "B2", "in_service_on", "after the day"),
    ],
)  # fmt: skip
def test_impossible_histories_are_set_aside(home, tmp_path, table, old, new, key, column, said):
    assert old in SHOP[table]
    connection = _take(home, tmp_path / "a", {**SHOP, table: SHOP[table].replace(old, new)})
    found = [row for row in _aside(connection) if row[:3] == (table, key, column)]
    assert len(found) == 1
    assert said in found[0][3]
    assert [row for row in _aside(connection) if not row[3].startswith("waiting")] == found


def test_an_optional_reading_that_runs_backwards_is_blanked_and_the_sensor_stands(home, tmp_path):
    sensors = SHOP["sensors"].replace("2022-01-10,1000", "2022-01-10,100000")
    connection = _take(home, tmp_path / "a", {**SHOP, "sensors": sensors})
    assert [row[:3] for row in _aside(connection)] == [("sensors", "S1", "fitted_km")]
    assert ("S1", "new") in _outcomes(connection, "sensors")


def test_a_test_of_another_sensor_is_unlinked_from_the_repair(home, tmp_path):
    repairs = SHOP["repair_outcomes"].replace("R1,S1,T2", "R1,S1,T3")
    connection = _take(home, tmp_path / "a", {**SHOP, "repair_outcomes": repairs})
    assert _aside(connection)[0][:3] == ("repair_outcomes", "R1", "session_id")
    assert "a test of sensor S2" in _aside(connection)[0][3]


def test_sweeps_are_taken_whole_by_session(home, tmp_path):
    sweeps = "session_id,t_s,signal\nT1,0,1\n,0.1,2\nT1,0.1,abc\nT9,0,1\nT1,0.2,\n"
    connection = _take(home, tmp_path / "a", {**SHOP, "sweeps": sweeps})
    assert connection.execute(
        "select handed_in, accepted, set_aside, waiting from intake.accounting where table_name = 'sweeps'"
    ).fetchall() == [(5, 3, 2, 1)]
    assert {row[3] for row in _aside(connection)} == {
        "blank; every sample needs its session (1 samples)",
        "waiting for test_sessions T9 (1 samples)",
    }
    connection = _take(
        home, tmp_path / "b", {"sweeps-b": "session_id,t_s,signal\nT1,0,1\nT1,1,2\n"}
    )
    assert _outcomes(connection, "sweeps")[-1] == ("T1", "replacing")


_cell = st.sampled_from(
    [
        "",
        "B1",
        "B2",
        "s1",
        "S1",
        "T1",
        "5",
        "-5",
        "2025-01-01",
        "2025-13-01",
        "yes",
        "tour",
        "x y",
        '"',
        "a,b",
    ]
)
_TABLES = {
    "units": ["unit_id", "shop_id", "model_code", "duty"],
    "odometer": ["unit_id", "read_on", "odometer_km"],
    "sensors": ["sensor_id", "unit_id", "mount", "part_no", "origin"],
    "sweeps": ["session_id", "t_s", "signal"],
    "retract": ["table", "key", "reason"],
}


@st.composite
def _files(draw):
    table = draw(st.sampled_from(sorted(_TABLES)))
    rows = draw(st.lists(st.lists(_cell, min_size=1, max_size=6), max_size=6))
    return table, rows


@settings(max_examples=25, suppress_health_check=[HealthCheck.too_slow])
@given(st.lists(_files(), min_size=1, max_size=4))
def test_rows_are_conserved_whatever_comes_in(tmp_path_factory, files):
    folder = tmp_path_factory.mktemp("any")
    home = Home(folder / "home").prepare()
    receive(home, [write_files(folder / "base", SHOP)], NOW)
    for number, (table, rows) in enumerate(files):
        (folder / str(number)).mkdir()
        with (folder / str(number) / f"{table}.csv").open("w", newline="") as file:
            csv.writer(file).writerows([_TABLES[table], *rows])
        receive(home, [folder / str(number)], NOW)
    connection = _settle(home)
    assert _accounts_hold(connection)
    counted = dict(
        connection.execute(
            "select hand_in, sum(handed_in) from intake.accounting where not broken_whole group by 1"
        ).fetchall()
    )
    for number, (_, rows) in enumerate(files):
        if number + 2 in counted:
            assert counted[number + 2] == len(rows)


def test_a_line_of_the_wrong_shape_still_names_its_key_and_is_settled_by_it(home, tmp_path):
    ragged = SHOP["odometer"] + "B1,2025-08-01\nB2,2025-09-01,21000,extra\n,\n"
    connection = _take(home, tmp_path / "a", {**SHOP, "odometer": ragged})
    assert [row[1] for row in _aside(connection)] == ["B1/2025-08-01", "B2/2025-09-01", None]
    again = "unit_id,read_on,odometer_km\nB1,2025-08-01,27000\nB2,2025-09-01,21000\n"
    connection = _take(home, tmp_path / "b", {"odometer": again})
    assert [row[1] for row in _aside(connection)] == [None]


def test_a_row_without_a_key_stays_listed_until_it_is_withdrawn_by_its_place(home, tmp_path):
    _take(home, tmp_path / "a", {**SHOP, "odometer": SHOP["odometer"] + ",2025-08-01,27000\n"})
    connection = _take(home, tmp_path / "b", {"odometer": SHOP["odometer"]})
    assert [row[:3] for row in _aside(connection)] == [("odometer", None, "unit_id")]
    retract = "table,key,reason\nodometer,odometer.csv:4,whose was it\n"
    connection = _take(home, tmp_path / "c", {"retract": retract})
    assert _aside(connection) == []


def test_rows_that_differ_only_in_a_bad_cell_are_not_the_same(home, tmp_path):
    units = SHOP["units"] + "B3,s1,,,alder,racing,\nB3,s1,,,alder,drifting,\n"
    connection = _take(home, tmp_path / "a", {**SHOP, "units": units})
    assert [o for key, o in _outcomes(connection, "units") if key == "B3"] == ["broken", "broken"]


def test_a_row_of_which_nothing_can_be_read_is_withdrawn_by_file_and_line(home, tmp_path):
    _take(home, tmp_path / "a", {**SHOP, "odometer": SHOP["odometer"] + ",\n"})
    retract = "table,key,reason\nodometer,odometer.csv:4,an empty line\n"
    connection = _take(home, tmp_path / "b", {"retract": retract})
    assert _aside(connection) == []
    assert ("odometer/odometer.csv:4", "new") in _outcomes(connection, "retract")


def test_what_waits_for_a_withdrawn_record_says_so(home, tmp_path):
    _take(home, tmp_path / "a", SHOP)
    connection = _take(
        home, tmp_path / "b", {"retract-1": "table,key,reason\ntest_sessions,T2,typed twice\n"}
    )
    assert _aside(connection)[0][3] == "waiting for test_sessions T2 (withdrawn by retract-1.csv)"


def test_a_retraction_of_an_unknown_table_says_which_there_are(home, tmp_path):
    connection = _take(home, tmp_path / "a", {"retract": "table,key,reason\nsensor,S1,gone\n"})
    assert _aside(connection)[0][3].startswith("there is no table sensor; expected one of shops")


def test_every_row_that_lacks_a_required_column_is_named(home, tmp_path):
    tests = "session_id,sensor_id,tested_at,verdict\nT8,S2,2026-01-01T09:00:00+00:00,fail\n"
    connection = _take(home, tmp_path / "a", {**SHOP, "test_sessions-b": tests})
    assert _aside(connection) == [
        ("test_sessions", "T8", "odometer_km", "the column is missing; a value is required in it")
    ]


def test_lines_of_sweeps_stay_right_behind_lines_of_the_wrong_shape(home, tmp_path):
    sweeps = "session_id,t_s,signal\nT1,0,1\nT1,1\nT1,2\n,3,1\nbad id,4,1\nT1,5\nT9,6,1\n"
    connection = _take(home, tmp_path / "a", {**SHOP, "sweeps": sweeps})
    lines = connection.execute(
        "select line, row_key from intake.set_aside where table_name = 'sweeps' order by line"
    ).fetchall()
    assert lines == [(3, None), (4, None), (5, None), (6, "bad id"), (7, None), (8, "T9")]


def test_rows_are_numbered_by_hand_in_file_and_line_wherever_they_were_read_to(home, tmp_path):
    readings = (
        "unit_id,read_on,odometer_km\nB1,2025-01-01,100\nB1\nB2,2025-01-01,x\nB2,2025-02-01,7\n"
    )
    _take(home, tmp_path / "a", {**SHOP, "odometer": readings, "odometer-b": SHOP["odometer"]})
    connection = _take(home, tmp_path / "b", {"odometer": readings})
    rows = connection.execute(
        "select row_id, hand_in, file_no, line from intake.rows order by row_id"
    ).fetchall()
    assert [row[0] for row in rows] == list(range(1, len(rows) + 1))
    assert [row[1:] for row in rows] == sorted(row[1:] for row in rows)
    last = [line for _, hand_in, _, line in rows if hand_in == 2]
    assert last == [2, 3, 4, 5]


def test_a_version_of_a_row_that_fell_leaves_the_one_before_it_in_force(home, tmp_path):
    _take(home, tmp_path / "a", SHOP)
    moved = "unit_id,read_on,odometer_km\nB1,2025-06-01,26500\nB2,2025-07-01,3\n"
    connection = _take(home, tmp_path / "b", {"odometer": moved})
    standing = connection.execute(
        "select row_key, cells['odometer_km'] from intake.standing where table_name = 'odometer' "
        "order by row_key"
    ).fetchall()
    assert standing == [("B1/2025-06-01", "26500"), ("B2/2025-07-01", "20000")]
