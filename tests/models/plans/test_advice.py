from datetime import date

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from models.frames import FrameError
from models.plans.advice import advise
from models.plans.schemas import ADVICE, CHEAPEST, EVIDENCE
from models.plans.settings import PlanSettings

USUAL = {
    "sensor_id": "s1",
    "unit_id": "u1",
    "part_no": "P1",
    "kind": "potentiometer",
    "defect_now": 0.04,
    "defect_now_low": 0.02,
    "defect_now_high": 0.07,
    "defect_5000_km": 0.09,
    "risk_basis": "Rests on 400 lives with 60 defects.",
    "odometer_age_days": 12.0,
    "last_session_id": "t1",
    "last_tested_on": "2025-02-07",
    "last_verdict": "pass",
    "last_conclusion": "nothing_seen",
    "last_fault_nature": "none",
    "last_dropout_count": 0,
    "km_since_test": 3240.0,
}
COSTS = {
    "sensor_id": "s1",
    "cheapest": "leave",
    "next_work": "test",
    "next_km": 2_480.0,
    "next_days": 62.0,
    "horizon_km": 14_600.0,
    "replace_now": 310.2,
    "test_now": 187.4,
    "test_later": 171.0,
    "test_later_days": 62.0,
    "replace_later": 320.0,
    "replace_later_days": 10.0,
    "leave": 196.0,
    "test_above": 0.06,
    "replace_above": 0.41,
    "usual_cost_per_1000_km": 8.4,
}
WORN = {
    "last_verdict": "fail",
    "last_conclusion": "dropouts_seen",
    "last_fault_nature": "worn_track",
    "last_dropout_count": 3,
    "last_dropout_travel_pct": 18.2,
}


def evidence(*rows):
    return pd.DataFrame(list(rows)).reindex(columns=EVIDENCE.names)


def advice(levels=None, costs=None, by_lot=frozenset(), day=None, **changed):
    priced = None if costs is None else CHEAPEST.check(pd.DataFrame([COSTS | costs]))
    how = {"by_lot": by_lot, "day": day}
    return advise(evidence(USUAL | changed), priced, PlanSettings(**(levels or {})), **how).iloc[0]


def test_leave_says_when_to_test_next():
    row = advice()
    assert row["action"] == "leave"
    assert row["headline"] == ("Nothing calls for work now; next test by about 6,700 km from now.")


def test_reasons_hold_the_numbers():
    reasons = advice()["reasons"].splitlines()
    assert "Chance of a defect now: about 4 in 100, likely 2 to 7." in reasons
    assert "Chance of a defect now or within 5,000 km: about 9 in 100." in reasons
    assert "Last test on 2025-02-07: verdict pass." in reasons
    assert "3,240 km run since that test." in reasons
    assert reasons[-1] == USUAL["risk_basis"]


def test_a_worn_track_is_replaced_with_its_place_named():
    row = advice(**WORN)
    assert row["action"] == "replace"
    assert "3 drop-outs, most at about 18 % of travel: at the same travel" in row["reasons"]


def test_what_comes_off_is_asked_to_be_tested():
    assert "Bench-test the sensor that comes off" in advice(**WORN)["reasons"]
    assert "comes off" not in advice()["reasons"]


def test_a_fault_elsewhere_is_settled_first():
    row = advice(**WORN, elsewhere="Supply 4.560 V, below 4.750 V.\nThe signal jumps.")
    assert row["action"] == "test"
    assert row["headline"].startswith("Put right what lies outside the sensor first")
    assert row["look_elsewhere"] == "Supply 4.560 V, below 4.750 V.\nThe signal jumps."
    assert "Settle first: The signal jumps." in row["reasons"].splitlines()


def test_contactless_parts_do_not_wear():
    row = advice(**WORN, kind="contactless")
    assert row["action"] == "test"
    assert "has no track to wear" in row["reasons"]
    assert "worn track does" not in row["reasons"]


def test_a_waiting_record_is_named_and_never_left():
    row = advice(waiting="test T4: odometer_km '14O2O' is not a number\nrepair R1 waits for T4")
    assert row["action"] == "not_enough_known"
    assert "Set aside: repair R1 waits for T4" in row["reasons"].splitlines()


def test_a_sweep_that_cannot_tell_leaves_the_verdict_alone():
    row = advice(last_conclusion="cannot_tell", last_sweep_advice="take at least 10 s a pass.")
    assert row["action"] == "leave"
    assert "by the verdict alone" in row["headline"]
    assert "Sweep again: take at least 10 s a pass." in row["reasons"]


def test_a_sensor_never_tested():
    blank = dict.fromkeys(
        ("last_session_id", "last_tested_on", "last_verdict", "last_conclusion", "km_since_test")
    )
    row = advice(**blank)
    assert row["action"] == "not_enough_known"
    assert row["reasons"].splitlines()[0] == "No accepted test of this sensor is on record."


@pytest.mark.parametrize(
    ("chance", "words"),
    [(0.0, "less than 1"), (0.004, "less than 1"), (0.999, "more than 99"), (0.333, "about 33")],
)
def test_chances_are_never_rounded_to_none_or_all(chance, words):
    assert f"Chance of a defect now: {words} in 100" in advice(defect_now=chance)["reasons"]


@pytest.mark.parametrize(
    ("changed", "action"),
    [
        ({"defect_now": 0.0999}, "leave"),
        ({"defect_now": 0.10}, "test"),
        ({"defect_5000_km": 0.25}, "test"),
        ({"defect_now_high": 0.40}, "not_enough_known"),
        ({"defect_now": 0.50}, "test"),
        ({"defect_now": 0.50, "last_verdict": "fail", "last_conclusion": None}, "replace"),
        ({"defect_now": 0.49, "last_verdict": "fail", "last_conclusion": None}, "test"),
        ({"km_since_test": 10_000.0}, "leave"),
        ({"km_since_test": 10_001.0}, "test"),
        ({"odometer_age_days": 120.0}, "leave"),
        ({"odometer_age_days": 121.0}, "not_enough_known"),
        ({"defect_now": None}, "not_enough_known"),
        ({"odometer_age_days": None}, "not_enough_known"),
    ],
)
def test_the_levels_by_default(changed, action):
    assert advice(**changed)["action"] == action


def test_levels_can_be_moved():
    assert advice({"test_above": 0.03})["action"] == "test"
    assert advice({"test_stale_after_km": 3000})["action"] == "test"
    assert "From a chance of 3 in 100 now" in advice({"test_above": 0.03})["reasons"]


def test_what_costs_least_decides_where_evidence_leaves_it_open():
    assert advice(costs={})["action"] == "leave"
    assert advice(costs={"cheapest": "test"})["action"] == "test"
    assert advice(costs={"cheapest": "replace"})["action"] == "replace"


def test_the_floor_stands_above_the_costs():
    row = advice(costs={}, defect_now=0.12)
    assert row["action"] == "test"
    assert "whatever it costs" in row["reasons"]
    assert "By cost alone, leaving it would come first" in row["reasons"]


def test_evidence_stands_above_the_costs():
    assert advice(costs={}, **WORN)["action"] == "replace"
    assert advice(costs={"cheapest": "replace"}, last_verdict="suspect")["action"] == "test"
    assert advice(costs={"cheapest": "replace"}, waiting="a record")["action"] == "not_enough_known"


def test_where_costs_are_known_they_weigh_what_lies_ahead():
    assert advice(defect_5000_km=0.30)["action"] == "test"
    assert advice(costs={}, defect_5000_km=0.30)["action"] == "leave"
    assert advice(km_since_test=20_000.0)["action"] == "test"
    assert advice(costs={}, km_since_test=20_000.0)["action"] == "leave"


def test_the_costs_in_words():
    row = advice({"currency": "crowns"}, costs={}, day=date(2026, 11, 1))
    assert row["headline"] == (
        "Nothing calls for work now; next test costs least in about 2,500 km, around 2027-01-02."
    )
    reasons = row["reasons"].splitlines()
    assert (
        "Expected cost over 365 days (14,600 km): replace now 310 crowns, test now 187 crowns, "
        "test in 62 days 171 crowns, no planned work 196 crowns." in reasons
    )
    assert (
        "By cost, leaving becomes testing above 6 in 100 now, and testing becomes replacing above "
        "41 in 100." in reasons
    )


def test_where_no_work_pays_it_says_for_how_long():
    row = advice(costs={"next_work": None, "next_km": None, "next_days": None})
    assert "no planned work pays within the next 365 days on what is known today" in row["headline"]


def test_a_few_are_tested_by_lot():
    row = advice(costs={}, by_lot=frozenset(["s1"]))
    assert row["action"] == "test"
    assert row["headline"].startswith("Test, as a check on leaving")
    assert advice(costs={}, by_lot=frozenset(["s2"]))["action"] == "leave"
    worn = advice(costs={}, by_lot=frozenset(["s1"]), **WORN)
    assert worn["action"] == "replace"


def test_urgency_sorts_by_action_then_risk():
    rows = advise(
        evidence(
            USUAL | {"sensor_id": "leave"},
            USUAL | {"sensor_id": "waits", "waiting": "a record"},
            USUAL | {"sensor_id": "test 12", "defect_now": 0.12},
            USUAL | {"sensor_id": "test 80", "defect_now": 0.80},
            USUAL | {"sensor_id": "test 100", "defect_now": 1.0},
            USUAL | WORN | {"sensor_id": "replace", "defect_now": None},
        )
    )
    order = rows.sort_values("urgency", ascending=False)["sensor_id"].tolist()
    assert order == ["replace", "test 100", "test 80", "test 12", "waits", "leave"]


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        ({"last_verdict": "good"}, "evidence.last_verdict: 'good' for sensor s1, expected pass"),
        ({"last_conclusion": "clean"}, "expected dropouts_seen, rough, nothing_seen"),
        ({"defect_now": 4.0}, "expected a chance from 0 to 1"),
    ],
)
def test_strange_evidence_is_refused_by_name(changed, words):
    with pytest.raises(ValueError, match=words):
        advice(**changed)


def test_a_missing_column_is_named():
    with pytest.raises(FrameError, match="no column waiting"):
        advise(evidence(USUAL).drop(columns="waiting"))


@pytest.mark.parametrize(
    "levels",
    [{"test_above": 0.6}, {"replace_above": 1.2}, {"test_above": 0.0}, {"test_stale_after_km": 0}],
)
def test_levels_that_contradict_are_refused(levels):
    with pytest.raises(ValueError, match=r"(test|replace)_above.*|test_stale_after_km is 0, exp"):
        advice(levels)


def test_no_sensors_no_advice():
    assert advise(EVIDENCE.empty()).empty


_CHANCE = st.one_of(st.none(), st.floats(0, 1))
_TEXT = st.sampled_from([None, "", "one line", "two\nlines"])
_ROW = st.fixed_dictionaries(
    {
        "kind": st.sampled_from([None, "potentiometer", "contactless"]),
        "defect_now": _CHANCE,
        "defect_now_low": _CHANCE,
        "defect_now_high": _CHANCE,
        "defect_5000_km": _CHANCE,
        "odometer_age_days": st.one_of(st.none(), st.floats(0, 2000)),
        "last_session_id": st.sampled_from([None, "t1"]),
        "last_tested_on": st.sampled_from([None, "2025-02-07"]),
        "last_verdict": st.sampled_from([None, "pass", "suspect", "fail"]),
        "last_conclusion": st.sampled_from(
            [None, "dropouts_seen", "rough", "nothing_seen", "cannot_tell"]
        ),
        "last_fault_nature": st.sampled_from(
            [None, "worn_track", "wandering", "undecided", "none"]
        ),
        "last_dropout_count": st.one_of(st.none(), st.integers(0, 99)),
        "last_dropout_travel_pct": st.one_of(st.none(), st.floats(0, 100)),
        "last_smoothness_pct": st.one_of(st.none(), st.floats(0, 100)),
        "last_sweep_advice": _TEXT,
        "km_since_test": st.one_of(st.none(), st.floats(0, 1e5)),
        "elsewhere": _TEXT,
        "repaired_since_test": _TEXT,
        "waiting": _TEXT,
        "unanswered": _TEXT,
        "risk_basis": _TEXT,
    }
)


@given(rows=st.lists(_ROW, min_size=1, max_size=6))
@settings(max_examples=40)
def test_any_evidence_gets_one_action_with_reasons(rows):
    given_rows = [USUAL | row | {"sensor_id": f"s{n}"} for n, row in enumerate(rows)]
    advised = ADVICE.check(advise(evidence(*given_rows)))
    assert advised["sensor_id"].tolist() == [row["sensor_id"] for row in given_rows]
    for row, answer in zip(given_rows, advised.to_dict("records"), strict=True):
        reasons = answer["reasons"].splitlines()
        assert len(reasons) >= 3
        assert len(set(reasons)) == len(reasons)
        assert not any(word in answer["reasons"] for word in ("nan", "None", "{", "<NA>"))
        left = answer["action"] == "leave"
        assert not (left and (row["waiting"] or row["unanswered"]))
        assert not (left and (row["defect_now"] is None or row["defect_now"] >= 0.10))
        assert not (left and row["elsewhere"])
        assert np.floor(answer["urgency"]) == (
            "leave",
            "not_enough_known",
            "test",
            "replace",
        ).index(answer["action"])


@given(row=_ROW, chances=st.tuples(st.floats(0, 1), st.floats(0, 1)).map(sorted))
@settings(max_examples=40)
def test_higher_risk_never_lowers_the_urgency(row, chances):
    lower, higher = (USUAL | row | {"defect_now": chance} for chance in chances)
    urgency = advise(evidence(lower, higher))["urgency"]
    assert urgency[0] <= urgency[1]


def test_sensors_told_in_parts_are_told_the_same(monkeypatch):
    rows = evidence(*(USUAL | {"sensor_id": f"s{i}", "defect_now": i / 20} for i in range(9)))
    whole = advise(rows, by_lot=frozenset({"s0"}))
    monkeypatch.setattr("models.plans.advice._AT_ONCE", 4)
    pd.testing.assert_frame_equal(advise(rows, by_lot=frozenset({"s0"})), whole)
