import itertools
from dataclasses import replace

import pytest

from models.plans.decisions import (
    ACTIONS,
    CHEAPEST,
    ODOMETERS,
    RISKS,
    RULES,
    RUNS,
    SWEEPS,
    VERDICTS,
    Case,
    decide,
)

FLAGS = (False, True)
EVERY_CASE = [
    Case(*values)
    for values in itertools.product(
        *(VERDICTS, SWEEPS, RISKS, ODOMETERS, RUNS, FLAGS, FLAGS, FLAGS, FLAGS, CHEAPEST, FLAGS)
    )
]
USUAL = Case(
    verdict="pass",
    sweep="clear",
    risk="low",
    odometer="current",
    run="short",
    elsewhere=False,
    repaired=False,
    waiting=False,
    unanswered=False,
)


def action(**changed):
    return decide(replace(USUAL, **changed)).action


def test_every_case_has_one_action_and_a_reason():
    assert len(EVERY_CASE) == 5 * 5 * 5 * 3 * 3 * 16 * 4 * 2
    for case in EVERY_CASE:
        rule = decide(case)
        assert rule.action in ACTIONS
        assert rule.headline
        assert rule.reason


def test_every_rule_is_reached():
    assert {decide(case).name for case in EVERY_CASE} == {rule.name for rule in RULES}


def test_leave_only_where_nothing_speaks_against_it():
    """Spelt out apart from the table: the only cases that may be left."""
    for case in EVERY_CASE:
        may_leave = (
            case.verdict in ("pass", "blank")
            and case.sweep in ("clear", "none")
            and not (case.verdict == "blank" and case.sweep == "none")
            and case.risk == "low"
            and case.odometer == "current"
            and case.run in (("short",) if case.cheapest == "unknown" else ("short", "long"))
            and case.cheapest in ("unknown", "leave")
            and not case.by_lot
            and not (case.elsewhere or case.repaired or case.waiting or case.unanswered)
        )
        assert (decide(case).action == "leave") == may_leave, case


def test_replace_only_on_evidence_of_a_test_or_where_it_costs_least():
    for case in EVERY_CASE:
        rule = decide(case)
        if rule.name == "replacing_costs_least":
            assert case.cheapest == "replace"
            assert case.odometer == "current"
            assert not any((case.elsewhere, case.repaired, case.waiting, case.unanswered))
            assert case.verdict in ("pass", "blank")
            assert case.risk != "unknown"
        elif rule.action == "replace":
            assert not case.elsewhere
            assert not case.repaired
            assert case.sweep == "worn" or case.risk == "high"
            assert case.verdict in ("fail", "suspect") or case.sweep == "worn"


def test_higher_risk_never_lowers_the_action():
    known = RISKS[1:]
    for case in EVERY_CASE:
        if case.risk == known[0] and not case.by_lot:  # the lot draws among those to be left
            ranks = [ACTIONS.index(decide(replace(case, risk=risk)).action) for risk in known]
            assert ranks == sorted(ranks), case


@pytest.mark.parametrize(
    ("changed", "expected"),
    [
        ({}, "leave"),
        ({"sweep": "none"}, "leave"),
        ({"verdict": "blank"}, "leave"),
        ({"verdict": "blank", "sweep": "none"}, "not_enough_known"),
        ({"verdict": "fail", "sweep": "worn"}, "replace"),
        ({"verdict": "fail", "sweep": "worn", "risk": "unknown", "odometer": "missing"}, "replace"),
        ({"verdict": "fail", "sweep": "worn", "elsewhere": True}, "test"),
        ({"verdict": "fail", "sweep": "worn", "repaired": True}, "test"),
        ({"verdict": "fail", "sweep": "none"}, "test"),
        ({"verdict": "fail", "sweep": "none", "risk": "high"}, "replace"),
        ({"verdict": "fail", "sweep": "clear", "risk": "high"}, "test"),
        ({"verdict": "fail", "sweep": "wandering", "risk": "high"}, "test"),
        ({"verdict": "suspect"}, "test"),
        ({"sweep": "worn"}, "test"),
        ({"sweep": "worn", "risk": "high"}, "replace"),
        ({"sweep": "unclear"}, "test"),
        ({"risk": "raised"}, "test"),
        ({"risk": "high"}, "test"),
        ({"risk": "unsure"}, "not_enough_known"),
        ({"risk": "unknown"}, "not_enough_known"),
        ({"verdict": "untested", "sweep": "none"}, "not_enough_known"),
        ({"odometer": "missing"}, "not_enough_known"),
        ({"odometer": "old"}, "not_enough_known"),
        ({"odometer": "old", "risk": "raised"}, "test"),
        ({"run": "unknown"}, "not_enough_known"),
        ({"run": "long"}, "test"),
        ({"waiting": True}, "not_enough_known"),
        ({"unanswered": True}, "test"),
        ({"unanswered": True, "sweep": "none"}, "test"),
        ({"waiting": True, "risk": "raised"}, "test"),
        ({"elsewhere": True}, "test"),
        ({"repaired": True}, "test"),
        ({"cheapest": "replace"}, "replace"),
        ({"cheapest": "replace", "risk": "high"}, "replace"),
        ({"cheapest": "replace", "odometer": "old"}, "not_enough_known"),
        ({"cheapest": "replace", "odometer": "old", "risk": "high"}, "test"),
        ({"cheapest": "replace", "verdict": "untested", "sweep": "none"}, "not_enough_known"),
        ({"cheapest": "test"}, "test"),
        ({"cheapest": "leave", "risk": "raised"}, "test"),
        ({"cheapest": "leave", "run": "long"}, "leave"),
        ({"by_lot": True}, "test"),
        ({"by_lot": True, "cheapest": "replace"}, "replace"),
    ],
)
def test_the_table_by_example(changed, expected):
    assert action(**changed) == expected


def test_leaving_is_never_praise():
    for rule in RULES:
        if rule.action == "leave":
            words = set(rule.headline.lower().replace(",", " ").replace(";", " ").split())
            assert not words & {"good", "safe", "ok", "okay", "fine", "sound", "healthy"}
