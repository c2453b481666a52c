"""The marts: keys, counts and reconciliation, and the rules that make lives out of records."""

import duckdb
import numpy as np
import pandas as pd
import pytest

from models.plans.schemas import EVIDENCE
from models.risk.odometer_stretches import ODOMETER_READINGS
from models.risk.schemas import (
    CONTACT_GAPS,
    FOLLOWED_UP,
    LIFE_WINDOWS,
    SENSORS_NOW,
    WEAR_READINGS,
)
from models.statics.schemas import READINGS
from pipeline.jobs.ingest import ingest
from pipeline.statements import connect, store
from pipeline.warehouse import build as build_module
from tests.pipeline.shop_files import SHOP, hand_in, query, sweep_csv, write_files

KEYS = {
    "marts.bikes": "unit_id",
    "marts.sensor_lives": "sensor_id",
    "marts.sensor_spans": "life_id",
    "marts.life_windows": "life_id",
    "marts.contacts": "life_id",
    "marts.tests": "session_id",
    "marts.last_tests": "sensor_id",
    "marts.repairs_after_tests": "session_id, outcome_id",
    "marts.answered_tests": "session_id",
    "marts.life_tests": "session_id",
    "marts.wear_readings": "session_id",
    "marts.risk_ahead": "sensor_id, horizon_kind, horizon",
    "marts.riding_rates": "unit_id",
    "marts.odometer_readings": "unit_id, read_on",
    "marts.life_quantiles": "grouped_by, group_name, share_with_defect",
    "marts.assumed_and_learned": "quantity",
    "marts.advice_over_sensitivity": "sensitivity, action",
    "marts.defects": "outcome_id",
    "marts.repairs": "outcome_id",
    "marts.sensors_now": "sensor_id",
    "marts.evidence": "sensor_id",
    "marts.advice": "sensor_id",
    "marts.worklist": "sensor_id",
    "marts.advice_answers": "sensor_id, answered_at",
    "marts.defect_risk": "sensor_id",
    "marts.bands": "part_no, reading",
    "marts.check_outcomes": "session_id",
    "marts.check_bands": "part_no, reading",
    "marts.sweep_measures": "session_id",
    "marts.static_readings": "session_id",
    "intake.row_outcomes": "row_id",
    "intake.rows": "row_id",
}
SAME_COUNT = [
    ("marts.bikes", "staging.units"),
    ("marts.sensor_lives", "staging.sensors"),
    ("marts.tests", "staging.test_sessions"),
    ("marts.repairs", "staging.repair_outcomes"),
    ("marts.worklist", "marts.sensors_now"),
    ("marts.advice_answers", "staging.advice_answers"),
    ("marts.evidence", "marts.sensors_now"),
    ("marts.sweep_measures", "staging.sweeps"),
    ("marts.static_readings", "marts.tests"),
    ("intake.row_outcomes", "intake.rows"),
]


@pytest.fixture(scope="module")
def built(tmp_path_factory):
    """A small shop, built once, with a swept test, a cleaning and a road failure."""
    from pipeline.home import Home

    folder = tmp_path_factory.mktemp("built")
    home = Home(folder / "home").prepare()
    report = hand_in(home, folder / "a", {**SHOP, "sweeps": sweep_csv("T1", "T2")})
    connection = connect(report.manifest.path, read_only=True)
    yield connection
    connection.close()


@pytest.mark.parametrize(("table", "key"), KEYS.items())
def test_keys_are_unique_and_not_blank(built, table, key):
    blank = " or ".join(f"{part} is null" for part in key.split(", "))
    assert built.execute(f"select count(*) from {table} where {blank}").fetchone() == (0,)
    twice = f"select {key} from {table} group by {key} having count(*) > 1"
    assert built.execute(twice).fetchall() == []


@pytest.mark.parametrize(("one", "other"), SAME_COUNT)
def test_counts_reconcile(built, one, other):
    assert (
        built.execute(f"select count(*) from {one}").fetchall()
        == built.execute(f"select count(*) from {other}").fetchall()
    )


@pytest.mark.parametrize(
    ("table", "schema"),
    [
        ("life_windows", LIFE_WINDOWS),
        ("sensors_now", SENSORS_NOW),
        ("followed_up", FOLLOWED_UP),
        ("contact_gaps", CONTACT_GAPS),
        ("wear_readings", WEAR_READINGS),
        ("odometer_readings", ODOMETER_READINGS),
        ("static_readings", READINGS),
        ("evidence", EVIDENCE),
    ],
)
def test_frames_handed_to_the_models_fit_their_schemas(built, table, schema):
    schema.check(built.execute(f"from marts.{table}").df())


def test_a_cleaning_with_a_confirmed_fault_ends_one_life_and_begins_the_next(built):
    lives = built.execute(
        "select life_id, repaired, entry_km, good_km, bad_km, road_failure from marts.life_windows "
        "where sensor_id = 'S1' order by life_id"
    ).fetchall()
    # fitted at 1,000 km; passed at 9,000; failed and cleaned at 17,000, on the road
    assert lives == [
        ("S1", False, 0.0, 8000.0, 16000.0, True),
        ("S1/2", True, 16000.0, 16000.0, None, False),
    ]


def test_an_original_sensor_is_watched_from_its_first_test(built):
    assert built.execute(
        "select entry_km, good_km, bad_km, age_known from marts.life_windows where sensor_id = 'S2'"
    ).fetchall() == [(12000.0, 12000.0, None, True)]


def test_a_sensor_of_which_nothing_was_heard_is_in_contact_up_to_the_last_reading(built):
    rows = built.execute(
        "select life_id, contact_km, doubt_km from marts.contacts order by life_id"
    ).fetchall()
    # S1's first life ends in the failed test at 17,000 km (fitted at 1,000); read at 26,000 since
    assert rows == [("S1", 16000.0, 16000.0), ("S1/2", 25000.0, None), ("S2", 20000.0, None)]


def test_the_odometer_is_carried_forward_at_the_bike_s_own_rate(built):
    ((rate, now, read),) = built.execute(
        "select km_per_day, odometer_now_km, odometer_read_km from marts.bikes where unit_id = 'B1'"
    ).fetchall()
    assert read == 26_000
    # 17,000 km on 2024-01-12 to 26,000 km on 2025-06-01: 506 days
    assert rate == pytest.approx(9000 / 506)
    assert now > read


def _rebuilt(home, tmp_path, **changed):
    report = hand_in(home, tmp_path / "shop", {**SHOP, **changed})
    return lambda sql: query(home, report, sql)


@pytest.mark.long
@pytest.mark.parametrize(
    ("confirmed", "by", "action", "event"),
    [
        ("yes", "bench_retest", "sensor_replaced", "road_failure"),
        ("yes", "opened", "sensor_cleaned", "road_failure"),
        ("yes", "verdict_only", "sensor_replaced", None),
        ("no", "bench_retest", "sensor_replaced", None),
        ("", "", "sensor_replaced", None),
        ("yes", "swap_cured", "connector_repaired", None),
    ],
)
def test_only_a_fault_confirmed_in_the_sensor_is_an_event(
    home, tmp_path, confirmed, by, action, event
):
    repair = SHOP["repair_outcomes"].replace(
        "sensor_cleaned,yes,bench_retest,yes", f"{action},{confirmed},{by},yes"
    )
    ask = _rebuilt(home, tmp_path, repair_outcomes=repair)
    assert ask("select event from marts.repairs") == [(event,)]
    assert ask("select bad_km is not null from marts.life_windows where life_id = 'S1'") == [
        (event is not None,)
    ]


def test_a_defect_found_in_the_workshop_is_no_road_failure(home, tmp_path):
    repair = SHOP["repair_outcomes"].replace("bench_retest,yes", "bench_retest,no")
    ask = _rebuilt(home, tmp_path, repair_outcomes=repair)
    assert ask("select event from marts.repairs") == [("defect",)]


def test_a_failed_verdict_alone_is_censored_at_the_last_good_test(home, tmp_path):
    ask = _rebuilt(home, tmp_path, repair_outcomes=SHOP["repair_outcomes"].splitlines()[0] + "\n")
    assert ask("select good_km, bad_km from marts.life_windows where sensor_id = 'S1'") == [
        (8000.0, None)
    ]


def test_an_after_repair_test_is_never_the_failing_test(home, tmp_path):
    tests = SHOP["test_sessions"].replace("17000,symptom", "17000,after_repair")
    ask = _rebuilt(home, tmp_path, test_sessions=tests)
    assert ask("select found_by, bad_odometer_km from marts.defects") == [(None, 17000.0)]


def test_a_replacement_ends_a_life_even_where_the_removal_was_not_recorded(home, tmp_path):
    sensors = SHOP["sensors"] + "S3,B1,throttle,P1,fitted_here,2024-06-01,20000\n"
    ask = _rebuilt(home, tmp_path, sensors=sensors)
    assert ask("select sensor_id, in_service, to_km, end_assumed from marts.sensor_lives where unit_id = 'B1' order by 1") == [
        ("S1", False, 20000.0, True),
        ("S3", True, None, False),
    ]  # fmt: skip
    assert "Sensor S1 on bike B1 has no removal on record" in str(
        ask("select notice from marts.notices")
    )


def test_a_bike_with_a_record_that_waits_is_never_left(home, tmp_path):
    tests = SHOP["test_sessions"] + "T4,S2,s9,2026-03-01T10:00:00+01:00,23000,routine,5.00,,pass\n"
    ask = _rebuilt(home, tmp_path, test_sessions=tests)
    ((action, waiting, reasons),) = ask(
        "select action, waiting, reasons from marts.worklist where unit_id = 'B2'"
    )
    assert action != "leave"
    assert waiting == "test T4 is waiting for shop s9"
    assert "waiting for shop s9" in reasons


def test_a_bike_that_cannot_be_listed_is_named(home, tmp_path):
    units = SHOP["units"] + "B3,s9,,,alder,tour,2021-05-01\nB4,s1,,,alder,tour,2021-05-01\n"
    ask = _rebuilt(home, tmp_path, units=units)
    notices = str(ask("select notice from marts.notices"))
    assert "Bike B3 is not on this list: bike B3 is waiting for shop s9." in notices
    assert "Bike B4 is in service, but no sensor on it is on record" in notices


def test_a_shop_without_any_test_still_builds_and_nothing_is_known(home, tmp_path):
    few = {name: SHOP[name] for name in ("shops", "units", "parts", "sensors")}
    report = hand_in(home, tmp_path / "few", few)
    actions = query(home, report, "select distinct action from marts.worklist")
    assert actions == [("not_enough_known",)]


def test_a_repair_that_found_the_sensor_sound_answers_the_failed_test(home, tmp_path):
    repair = SHOP["repair_outcomes"].replace(
        "sensor_cleaned,yes,bench_retest,yes", "connector_repaired,no,,no"
    )
    ask = _rebuilt(home, tmp_path, repair_outcomes=repair)
    assert ask("select last_verdict from marts.sensors_now where sensor_id = 'S1'") == [(None,)]


def test_odd_costs_and_windows_gone_by_are_pointed_out(home, tmp_path):
    repair = (
        "outcome_id,sensor_id,session_id,closed_on,odometer_km,action,parts_cost\n"
        "R1,S1,T2,2024-01-12,17000,sensor_replaced,118\n"
    )
    parts = "part_no,description,kind,output,unit_price\nP1,sensor,potentiometer,rising,84.5\n"
    calendar = "unit_id,free_from,free_to\nB1,2025-01-01,2025-01-05\n"
    ask = _rebuilt(home, tmp_path, repair_outcomes=repair, parts=parts, calendar=calendar)
    notices = [row[0] for row in ask("select notice from marts.notices")]
    assert (
        "1 replacements of part P1 record a parts cost of 118.00 (median), but its unit price on "
        "record is 84.50." in notices
    )
    assert any("the last ended on 2025-01-05" in notice for notice in notices)


def test_drop_outs_outlast_a_later_test_that_cannot_tell(home, tmp_path):
    tests = SHOP["test_sessions"] + (
        "T4,S2,s1,2026-03-01T10:00:00+01:00,23000,routine,5.00,volt,pass\n"
        "T5,S2,s1,2026-03-04T10:00:00+01:00,23010,routine,5.00,,pass\n"
    )
    lines = sweep_csv("T4").splitlines()
    for sample in (150, 151, 650, 651, 950, 951, 1450, 1451):  # the same travel, up and down
        session, t_s, _ = lines[sample].split(",")
        lines[sample] = f"{session},{t_s},0.1"
    ask = _rebuilt(home, tmp_path, test_sessions=tests, sweeps="\n".join(lines) + "\n")
    assert ask("select conclusion from marts.tests where session_id = 'T4'") == [("dropouts_seen",)]
    ((action, reasons),) = ask("select action, reasons from marts.worklist where unit_id = 'B2'")
    assert action == "test"
    assert "The sweep of 2026-03-01 showed" in reasons


@pytest.mark.long
@pytest.mark.parametrize(
    "line",
    [
        "T4,S2,s1,2026-03-01T10:00:00+01:00,23000,routine,5.00\n",
        "T4,S2,s1,2026-03-01T10:00:00+01:00,23000,rout\xe4ne,5.00,,fail\n",
        "T4,S2,s1,2026-03-01T10:00:00+01:00,23 000,routine,5.00,,fail\n",
    ],
    ids=["ragged", "latin-1", "number"],
)
def test_a_broken_test_of_any_sort_keeps_its_bike_from_leave(home, tmp_path, line):
    tests = SHOP["test_sessions"].encode() + line.encode("latin-1")
    ask = _rebuilt(home, tmp_path, test_sessions=tests)
    ((action, waiting),) = ask("select action, waiting from marts.worklist where unit_id = 'B2'")
    assert action != "leave"
    assert "test T4" in waiting


def test_records_that_name_no_bike_are_announced(home, tmp_path):
    ask = _rebuilt(home, tmp_path, **{"test_sessions-b": "session_id\n".encode("utf-16")})
    first = ask("select notice from marts.notices order by notice_no limit 1")[0][0]
    assert first.startswith("1 set-aside entry could not be tied to a bike")


def test_part_numbers_that_replace_one_another_are_pointed_out(home, tmp_path):
    parts = "part_no,description,replaced_by\nP1,sensor,P2\nP2,sensor,P1\n"
    ask = _rebuilt(home, tmp_path, parts=parts)
    assert "Part P1 is said to be replaced, in the end, by itself." in str(
        ask("select notice from marts.notices")
    )


def test_a_pass_after_the_cleaning_does_not_end_the_window_of_the_defect(home, tmp_path):
    tests = SHOP["test_sessions"] + "T4,S1,s1,2024-01-12T16:00:00+00:00,17000,,5.00,,pass\n"
    ask = _rebuilt(home, tmp_path, test_sessions=tests)
    assert ask("select good_km, bad_km from marts.life_windows where life_id = 'S1'") == [
        (8000.0, 16000.0)
    ]
    assert ask("select found_by from marts.defects") == [("T2",)]


def test_a_new_sensor_without_its_day_of_fitting_stays_in_service(home, tmp_path):
    sensors = (
        SHOP["sensors"]
        .replace("fitted_km\n", "fitted_km,removed_on\n")
        .replace("1000\n", "1000,2024-02-01\n")
        + "S9,B1,throttle,P1,fitted_here,,17100,\n"
    ).replace("2021-05-01,0\n", "2021-05-01,0,\n")
    ask = _rebuilt(home, tmp_path, sensors=sensors)
    assert ask("select sensor_id, in_service from marts.sensor_lives where unit_id = 'B1' order by 1") == [
        ("S1", False),
        ("S9", True),
    ]  # fmt: skip


@pytest.mark.parametrize("removed", ["2o24-02-01,17100,faulty", ",17100,", ",,faulty"])
def test_a_sensor_said_to_be_off_by_any_column_is_off(home, tmp_path, removed):
    sensors = SHOP["sensors"].replace(
        "fitted_km\n", "fitted_km,removed_on,removed_km,removed_reason\n"
    )
    sensors = sensors.replace("1000\n", f"1000,{removed}\n").replace(
        "2021-05-01,0\n", "2021-05-01,0,,,\n"
    )
    ask = _rebuilt(home, tmp_path, sensors=sensors)
    assert ask("select in_service, end_assumed from marts.sensor_lives where sensor_id = 'S1'") == [
        (False, False)
    ]


@pytest.mark.long
def test_a_broken_row_does_not_draw_a_sensor_s_records_to_another_bike(home, tmp_path):
    hand_in(home, tmp_path / "a", SHOP)
    tests = "session_id,sensor_id,tested_at,odometer_km,verdict\nT9,S2,2026-03-01T10:00:00+01:00,x,fail\n"
    wrong = "sensor_id,unit_id,mount,part_no,origin\nS2,B1,nowhere,P1,unknown\n"
    report = hand_in(home, tmp_path / "b", {"test_sessions-b": tests, "sensors-b": wrong})
    waiting = query(home, report, "select waiting from marts.evidence where unit_id = 'B2'")
    assert "test T9" in waiting[0][0]


def test_a_test_with_two_repairs_is_one_test(home, tmp_path):
    repairs = SHOP["repair_outcomes"] + "R2,S1,T2,2024-01-11,17000,wiring_repaired,no,,no\n"
    ask = _rebuilt(home, tmp_path, repair_outcomes=repairs)
    assert ask("from marts.followed_up where sign = 'fail'") == [("fail", 1, 1)]


def test_a_sensor_of_which_no_reading_is_known_has_no_age(home, tmp_path):
    sensors = SHOP["sensors"] + "S7,B3,throttle,P1,unknown,,\n"
    units = SHOP["units"] + "B3,s1,,,alder,tour,\n"
    ask = _rebuilt(home, tmp_path, sensors=sensors, units=units)
    assert ask("select age_now_km from marts.sensors_now where sensor_id = 'S7'") == [(None,)]
    assert ask("select action, defect_now from marts.worklist where sensor_id = 'S7'") == [
        ("not_enough_known", None)
    ]


def test_a_first_sight_is_an_odometer_reading(home, tmp_path):
    sensors = (
        "sensor_id,unit_id,mount,part_no,origin,first_seen_on,first_seen_km\n"
        "S7,B3,throttle,P1,unknown,2025-01-01,5000\n"
    )
    few = {name: SHOP[name] for name in ("shops", "parts")}
    units = "unit_id,shop_id,model_code\nB3,s1,alder\n"
    report = hand_in(home, tmp_path / "few", {**few, "units": units, "sensors": sensors})
    assert query(home, report, "select odometer_read_km from marts.bikes") == [(5000.0,)]


def test_the_advice_is_counted_in_full_at_each_sensitivity(built):
    counts = built.execute(
        "select sensitivity, sum(sensor_count) from marts.advice_over_sensitivity group by all"
    ).fetchall()
    ((sensors,),) = built.execute("select count(*) from marts.sensors_now").fetchall()
    assert len(counts) == 3
    assert {count for _, count in counts} == {sensors}


def test_what_is_learned_stays_as_assumed_where_nothing_was_followed_up(built):
    rows = built.execute(
        "select quantity, assumed = learned, rests_on from marts.assumed_and_learned"
    ).fetchall()
    said = {quantity: (same, rests) for quantity, same, rests in rows}
    signs = {"fail", "suspect", "dropouts_seen", "worn_band"}
    assert set(said) == {"sensitivity", *signs, "delay", "season"}
    assert said["suspect"] == (True, "nothing: it stays assumed")
    assert said["fail"] == (False, "1 of 1 such tests followed up")
    assert said["delay"] == (True, "nothing: 1 road failures are fewer than 30")


def test_a_bike_not_read_for_long_says_so(built):
    stale = built.execute(
        "select days_since_reading > 120, odometer_stale from marts.riding_rates"
    ).fetchall()
    assert stale == [(True, True), (True, True)]
    assert built.execute("select distinct odometer_stale from marts.worklist").fetchall() == [
        (True,)
    ]


def test_a_build_holds_no_more_than_it_is_meant_to_and_works_on_disk(home, tmp_path, monkeypatch):
    held = []

    def looked_at(connection, *rest):
        told = connection.execute("select current_setting('memory_limit')").fetchall()
        held.append(told[0][0])
        return judge(connection, *rest)

    judge = build_module.judge_statics
    monkeypatch.setattr(build_module, "judge_statics", looked_at)
    hand_in(home, tmp_path / "a", SHOP)
    assert held == ["600.0 MiB"]


def test_what_needs_more_memory_than_it_may_hold_is_named():
    with connect() as connection:
        connection.execute("create schema marts; set memory_limit = '4 MiB'; set temp_directory=''")
        with pytest.raises(duckdb.OutOfMemoryException) as raised:
            store(connection, "numbers", pd.DataFrame({"n": np.arange(2_000_000)}))
    assert build_module._asked_by(raised.value) == "create table marts.numbers as"


def test_a_build_that_needs_more_memory_is_begun_again_with_more(home, tmp_path, monkeypatch):
    monkeypatch.setattr(build_module, "HELD_BYTES", 1 << 20)
    said = []
    files = [write_files(tmp_path / "a", SHOP)]
    report = ingest(home, files, say=said.append)
    (told,) = [line for line in said if "Beginning again with more" in line]
    assert ".py, " in told  # what needed it
    assert query(home, report, "select count(*) from staging.test_sessions") == [(3,)]
    assert [path.suffix for path in home.published.iterdir() if "draft" in path.name] == []
