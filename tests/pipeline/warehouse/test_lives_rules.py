"""The rules that make lives out of records, each on one worked example.

All examples are one hand-in; each has a bike of its own, told from the others by what its
identifiers begin with, and is written as if it stood alone: one bike B1 with one sensor S1, fitted new at 1,000 km on 2022-01-10, so that age = odometer -
1,000 km. It passed at 9,000 km on 2023-01-10. Each example says what else is on record. A life is
written (entry, good, bad) in km of age; bad is None where it is right censored at good.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import date

import pytest

from pipeline.home import Home
from pipeline.statements import connect
from tests.pipeline.shop_files import hand_in

SHOPS = "shop_id,name\ns1,Weir Lane\n"
PARTS = (
    "part_no,description,kind,replaced_by\nP1,sensor,potentiometer,P2\nP2,sensor,potentiometer,\n"
)
SENSOR_COLUMNS = (
    "sensor_id,unit_id,mount,part_no,origin,fitted_on,fitted_km,first_seen_on,first_seen_km,"
    "removed_on,removed_km,removed_reason\n"
)
S1 = "S1,B1,throttle,P1,fitted_here,2022-01-10,1000,,,"
PASSED = "T1,S1,2023-01-10T09:00:00+00:00,9000,routine,pass\n"
FAILED = "T2,S1,2024-01-10T09:00:00+00:00,17000,routine,fail\n"
READ_ON = "B1,2025-06-01,26000\n"


def shop(
    *, removed=",,", others="", tests="", repairs="", readings=READ_ON, fleet="", out=""
) -> dict:
    return {
        "shops": SHOPS,
        "parts": PARTS,
        "units": (
            "unit_id,shop_id,fleet_id,model_code,duty,in_service_on,out_of_service_on\n"
            f"B1,s1,{fleet},alder,courier,2022-01-10,{out}\n"
        ),
        "sensors": f"{SENSOR_COLUMNS}{S1}{removed}\n{others}",
        "test_sessions": f"session_id,sensor_id,tested_at,odometer_km,reason,verdict\n{PASSED}{tests}",
        "repair_outcomes": (
            "outcome_id,sensor_id,session_id,closed_on,odometer_km,action,fault_confirmed,"
            f"confirmed_by,on_road,failed_on,failed_km\n{repairs}"
        ),
        "odometer": f"unit_id,read_on,odometer_km\n{readings}",
    }  # fmt: skip


def repair(
    action="sensor_replaced", *, by="T2", confirmed="yes", how="opened", road="", at=""
) -> str:
    return f"R1,S1,{by},2024-01-12,17200,{action},{confirmed},{how},{road},,{at}\n"


#: One line each: what is on record, the lives that come of it, and what the first counts as.
RULES = {
    "replaced with a confirmed fault: between the last test without it and the first with it": (
        shop(removed="2024-01-12,17200,faulty", tests=FAILED, repairs=repair()),
        {"S1": (0, 8000, 16000)},
        "defect",
    ),
    "found by the repair alone: between the last test and the repair's odometer": (
        shop(removed="2024-01-12,17200,faulty", repairs=repair(by="")),
        {"S1": (0, 8000, 16200)},
        "defect",
    ),
    "road failure, km not known: between the last test and the first test with it": (
        shop(removed="2024-01-12,17200,faulty", tests=FAILED, repairs=repair(road="yes")),
        {"S1": (0, 8000, 16000)},
        "road_failure",
    ),
    "road failure at a known km: it had the defect by then, before the test or the repair": (
        shop(
            removed="2024-01-12,17200,faulty", tests=FAILED, repairs=repair(road="yes", at="16500")
        ),
        {"S1": (0, 8000, 15500)},
        "road_failure",
    ),
    "a failure noted before the last test without a defect does not turn the window round": (
        shop(
            removed="2024-01-12,17200,faulty", tests=FAILED, repairs=repair(road="yes", at="8500")
        ),
        {"S1": (0, 8000, 8000)},
        "road_failure",
    ),
    "a first failed test ends the window, though a later one led to the repair": (
        shop(
            removed="2024-01-12,17200,faulty",
            tests="T0,S1,2023-09-10T09:00:00+00:00,14000,routine,fail\n" + FAILED,
            repairs=repair(),
        ),
        {"S1": (0, 8000, 13000)},
        "defect",
    ),
    "cleaned with a confirmed fault: one life ends and a repaired one begins": (
        shop(tests=FAILED, repairs=repair("sensor_cleaned")),
        {"S1": (0, 8000, 16000), "S1/2": (16200, 16200, None)},
        "defect",
    ),
    "an after-repair test belongs to the life that the repair began": (
        shop(
            tests=FAILED + "T3,S1,2024-01-12T16:00:00+00:00,17200,after_repair,pass\n",
            repairs=repair("sensor_cleaned"),
        ),
        {"S1": (0, 8000, 16000), "S1/2": (16200, 16200, None)},
        "defect",
    ),
    "an after-repair test that failed is never the failing test": (
        shop(
            removed="2024-01-12,17200,faulty",
            tests="T0,S1,2023-09-10T09:00:00+00:00,14000,after_repair,fail\n",
            repairs=repair(by=""),
        ),
        {"S1": (0, 8000, 16200)},
        "defect",
    ),
    "replaced, no fault found in it: censored at the last test without a defect": (
        shop(
            removed="2024-01-12,17200,other", tests=FAILED, repairs=repair(confirmed="no", how="")
        ),
        {"S1": (0, 8000, None)},
        None,
    ),
    "replaced on the failed verdict alone: no confirmation, censored": (
        shop(removed="2024-01-12,17200,faulty", tests=FAILED, repairs=repair(how="verdict_only")),
        {"S1": (0, 8000, None)},
        None,
    ),
    "removed on advice while still sound: censored": (
        shop(removed="2024-01-12,17200,preventive"),
        {"S1": (0, 8000, None)},
        None,
    ),
    "the plug was at fault: no failure of the sensor": (
        shop(tests=FAILED, repairs=repair("connector_repaired")),
        {"S1": (0, 8000, None)},
        None,
    ),
    "the lead was at fault: no failure of the sensor": (
        shop(tests=FAILED, repairs=repair("wiring_repaired", confirmed="no", how="swap_cured")),
        {"S1": (0, 8000, None)},
        None,
    ),
    "superseded part: the new number's sensor has a life of its own from its fitting": (
        shop(
            removed="2024-01-12,17200,faulty",
            tests=FAILED,
            repairs=repair(),
            others="S2,B1,throttle,P2,fitted_here,2024-01-12,17200,,,,,\n",
        ),
        {"S1": (0, 8000, 16000), "S2": (0, 0, None)},
        "defect",
    ),
    "two sensors on a bike: a defect of one says nothing of the other": (
        shop(
            tests=FAILED + "T5,S2,2024-01-10T09:30:00+00:00,17000,routine,pass\n",
            repairs=repair("sensor_cleaned"),
            others="S2,B1,grip_a,P1,fitted_here,2022-01-10,1000,,,,,\n",
        ),
        {"S1": (0, 8000, 16000), "S1/2": (16200, 16200, None), "S2": (0, 16000, None)},
        "defect",
    ),
    "origin not known: watched, and its age counted, from first sight": (
        shop(others="S2,B1,grip_a,P1,unknown,,,2023-01-10,9000,,,\n"),
        {"S1": (0, 8000, None), "S2": (0, 0, None)},
        None,
    ),
    "original sensor first seen late: its age is the bike's, watched from first sight": (
        shop(others="S2,B1,grip_a,P1,original,,,2023-01-10,9000,,,\n"),
        {"S1": (0, 8000, None), "S2": (9000, 9000, None)},
        None,
    ),
}


#: What answers the failed test T2 of 2024-01-10: the repairs after it; who answered, what, led to it.
ANSWERS = {
    "none": ("", None),
    "a defect confirmed": (repair("sensor_cleaned"), ("R1", "defect", True)),
    "found sound": (repair("connector_repaired", confirmed="no", how=""), ("R1", "sound", True)),
    "closed without a word": (repair(confirmed="", how=""), (None, None, False)),
    "named by no repair, but the last test before it": (
        repair("sensor_cleaned", by=""),
        ("R1", "defect", True),
    ),
    "another test led to the repair": (
        repair("sensor_cleaned", by="T6"),
        ("R1", "defect", False),
    ),
}
SECOND_TEST = "T6,S1,2024-01-11T09:00:00+00:00,17100,called_in,suspect\n"
CLEANED_WITH_RETEST = shop(
    tests="T2,S1,2024-01-12T09:00:00+00:00,17200,symptom,fail\n"
    "T3,S1,2024-01-12T16:00:00+00:00,17200,after_repair,pass\n",
    repairs=repair("sensor_cleaned"),
)
FOUND_THEN_LOOKED_AT_AGAIN = shop(
    tests=FAILED
    + "T22,S1,2024-01-11T09:00:00+00:00,17100,called_in,fail\n"
    + "T3,S1,2024-01-12T16:00:00+00:00,17200,after_repair,pass\n"
    + "T4,S1,2024-06-01T09:00:00+00:00,20000,routine,\n",
    repairs=repair("sensor_cleaned", by="T22"),
)
#: How the defect was found: the test's reason, on the road or not, and where the rider noticed it.
HEARD = {
    ("routine", "no", ""): False,
    ("symptom", "no", ""): True,
    ("routine", "yes", ""): True,
    ("routine", "", "16500"): True,
}
SETTLED_SINCE = (
    "T0,S1,2023-02-10T09:00:00+00:00,9500,symptom,suspect\n"
    "T8,S1,2023-06-10T09:00:00+00:00,12000,routine,pass\n"
)
EXAMPLES = {
    **{rule: files for rule, (files, *_) in RULES.items()},
    **{
        f"answer: {name}": shop(tests=FAILED + SECOND_TEST * ("T6" in repairs), repairs=repairs)
        for name, (repairs, _) in ANSWERS.items()
    },
    **{
        f"heard: {reason} {road} {at}": shop(
            removed="2024-01-12,17200,faulty",
            tests=FAILED.replace("routine", reason),
            repairs=repair(road=road, at=at),
        )
        for reason, road, at in HEARD
    },
    "private": shop(),
    "fleet": shop(fleet="f1"),
    "lost from view": shop(out="2025-06-01"),
    "taken off": shop(removed="2024-01-12,17200,preventive"),
    "tested before and after the cleaning of a day": CLEANED_WITH_RETEST,
    "found, then looked at again": FOUND_THEN_LOOKED_AT_AGAIN,
    "passed, but led to a confirmed defect": shop(
        removed="2024-01-12,17200,faulty",
        tests=FAILED.replace(",fail", ",pass"),
        repairs=repair(),
    ),
    "lead mended before": shop(
        tests=FAILED,
        repairs="R0,S1,,2023-05-01,12000,wiring_repaired,no,,,,\n" + repair("sensor_cleaned"),
    ),
    "settled since": shop(tests=SETTLED_SINCE + FAILED, repairs=repair("sensor_cleaned")),
}
#: Takes an example's name and a query that names an identifier; its rows, as if it stood alone.
Ask = Callable[[str, str], list[tuple]]


def _apart(example: str, files: dict[str, str]) -> dict[str, list[str]]:
    """Rows of one example, its identifiers (but the parts') led by a prefix of its own."""
    prefix = _prefix(example)
    return {
        name: re.sub(r"\b([BSTR]\d+)\b", rf"{prefix}\1", text).splitlines()
        for name, text in files.items()
    }


def _prefix(example: str) -> str:
    return f"x{list(EXAMPLES).index(example)}-"


@pytest.fixture(scope="module")
def ask(tmp_path_factory) -> Ask:
    """All examples in one hand-in."""
    folder = tmp_path_factory.mktemp("rules")
    parts = [_apart(example, files) for example, files in EXAMPLES.items()]
    whole = {
        name: "\n".join([rows[0], *dict.fromkeys(row for part in parts for row in part[name][1:])])
        for name, rows in parts[0].items()
    }
    report = hand_in(Home(folder / "home").prepare(), folder / "shop", whole)
    assert report.set_aside_count == 0
    connection = connect(report.manifest.path, read_only=True)

    def asked(example: str, sql: str) -> list[tuple]:
        prefix, rows = _prefix(example), connection.execute(sql).fetchall()
        own = [row for row in rows if any(str(value).startswith(prefix) for value in row)]
        return [tuple(v.removeprefix(prefix) if isinstance(v, str) else v for v in r) for r in own]

    yield asked
    connection.close()


@pytest.mark.parametrize("rule", RULES)
def test_each_rule_of_the_record_of_lives(ask, rule):
    _, lives, event = RULES[rule]
    found = ask(rule, "select life_id, entry_km, good_km, bad_km from marts.life_windows")
    assert {life: tuple(ages) for life, *ages in found} == lives
    events = ask(rule, "select outcome_id, event from marts.repairs where event is not null")
    assert events == ([("R1", event)] if event else [])


@pytest.mark.parametrize(("reason", "road", "at"), HEARD)
def test_a_complaint_is_told_from_a_test_that_was_due_anyway(ask, reason, road, at):
    found = ask(f"heard: {reason} {road} {at}", "select life_id, heard from marts.life_windows")
    assert found == [("S1", HEARD[reason, road, at])]


def test_a_private_bike_is_in_contact_up_to_its_last_reading_and_a_fleet_s_to_this_day(ask):
    contact = "select sensor_id, contact_km, age_now_km from marts.sensors_now"
    ((_, seen, today),) = ask("private", contact)
    assert seen == 25_000
    assert today > 25_000  # carried forward to the day of the build
    assert ask("private", "select life_id, contact_km from marts.life_windows") == [("S1", 25_000)]
    ((_, seen, today),) = ask("fleet", contact)
    assert seen == today


def test_a_bike_lost_from_view_is_silent_up_to_its_last_reading_only(ask):
    windows = "select life_id, good_km, bad_km, contact_km from marts.life_windows"
    assert ask("lost from view", windows) == [("S1", 8_000, None, 25_000)]
    assert ask("lost from view", "select sensor_id from marts.sensors_now") == []


def test_a_sensor_taken_off_was_silent_up_to_its_removal(ask):
    windows = "select life_id, contact_km from marts.life_windows"
    assert ask("taken off", windows) == [("S1", 16_200)]


def test_a_test_of_the_day_of_a_repair_came_before_it_unless_it_is_an_after_repair_test(ask):
    example = "tested before and after the cleaning of a day"
    assert ask(example, "select session_id, life_id from marts.life_tests order by 1") == [
        ("T1", "S1"),
        ("T2", "S1"),
        ("T3", "S1/2"),
    ]
    now = (
        "select session_id, last_verdict, last_test_km "
        "from marts.sensors_now join marts.last_tests using (sensor_id)"
    )
    assert ask(example, now) == [("T3", "pass", 16_200)]
    # the failed test of that day is no doubt of the life that began with the cleaning
    doubts = "select life_id, doubt_km from marts.contacts order by life_id"
    assert ask(example, doubts) == [("S1", 16_200), ("S1/2", None)]


def test_wear_readings_end_with_the_test_that_found_the_defect(ask):
    read = "select life_id, session_id, read_km, passed from marts.wear_readings"
    assert ask("found, then looked at again", read) == [
        ("S1", "T1", 8_000, True),
        ("S1", "T2", 16_000, False),  # T22 came after the finding
        ("S1/2", "T3", 16_200, True),
        ("S1/2", "T4", 19_000, False),  # no verdict: not found without the defect
    ]


def test_a_test_that_passed_but_led_to_a_confirmed_defect_did_not_pass(ask):
    read = "select session_id, passed from marts.wear_readings"
    found = ask("passed, but led to a confirmed defect", read)
    assert found == [("T1", True), ("T2", False)]


def test_riding_and_earlier_repairs_of_a_life(ask):
    rate = round(25_000 / 1238, 6)  # 1,000 km on 2022-01-10 to 26,000 km on 2025-06-01
    known = "select {}, round(km_per_day, 6), earlier_repairs, shop_id from marts.{} order by 1"
    lives = ask("lead mended before", known.format("life_id", "life_windows"))
    assert lives == [("S1", rate, 0, "s1"), ("S1/2", rate, 1, "s1")]
    now = ask("lead mended before", known.format("sensor_id", "sensors_now"))
    assert now == [("S1", rate, 1, "s1")]


@pytest.mark.parametrize("case", ANSWERS)
def test_what_answers_a_failed_test(ask, case):
    answered = "select session_id, outcome_id, answer, led_to_it from marts.answered_tests"
    found = [rest for test, *rest in ask(f"answer: {case}", answered) if test == "T2"]
    expected = ANSWERS[case][1]
    assert found == ([list(expected)] if expected else [])


def test_a_repair_does_not_speak_of_a_test_that_a_later_one_settled(ask):
    said = dict(ask("settled since", "select session_id, answer from marts.answered_tests"))
    assert said == {"T0": None, "T1": None, "T8": "defect", "T2": "defect"}


def test_ages_are_dated_by_the_odometer_for_the_season(ask):
    days = "select life_id, entry_on, good_on, end_on from marts.life_windows"
    seen = (date(2022, 1, 10), date(2023, 1, 10), date(2025, 6, 1))
    assert ask("private", days) == [("S1", *seen)]
    ((_, *now),) = ask("private", "select sensor_id, entry_on, good_on from marts.sensors_now")
    assert now == list(seen[:2])
    rule = next(iter(RULES))  # found by a test a year later
    assert ask(rule, days)[0] == ("S1", *seen[:2], date(2024, 1, 10))
    assert ask("private", "select sensor_id, now_on >= '2025-06-01' from marts.sensors_now") == [
        ("S1", True)
    ]
