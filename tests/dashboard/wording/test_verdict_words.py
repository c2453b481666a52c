import pytest

from dashboard.wording.verdict_words import could_have_missed, rule_verdict, technician_verdict
from tests.dashboard.fake_views import checks, measures, profile

PASSED = {"verdict": "pass"}


def test_the_rules_say_what_was_seen_where_and_of_what_kind():
    word, why = rule_verdict(measures(), checks())
    assert word == "Drop-outs seen"
    assert why[0].startswith("2 drop-outs, densest near 22 % of travel, at the same travel")
    assert why[1] == "1 of 2 judged checks at rest points to a fault: fault codes."


def test_nothing_seen_is_said_as_such_and_within_the_sweeps_reach():
    word, why = rule_verdict(
        measures(conclusion="nothing_seen", fault_nature="none"), checks().iloc[:1]
    )
    assert word == "Nothing seen"
    assert "as far as this sweep could show them" in why[0]
    assert "good" not in f"{word} {why}".lower()


def test_a_sweep_that_cannot_tell_says_how_to_sweep_again():
    word, why = rule_verdict(
        measures(conclusion="cannot_tell", advice="Sweep more slowly."), checks()
    )
    assert (word, why[0]) == ("Cannot tell", "Too little evidence to say more. Sweep more slowly.")
    bare = rule_verdict(measures(conclusion="cannot_tell", advice=None), checks())[1]
    assert bare[0] == "Too little evidence to say more."


def test_without_a_sweep_nothing_is_judged():
    word, why = rule_verdict(None, checks().iloc[:0])
    assert word == "No sweep to judge"
    assert "says nothing about drop-outs" in why[0]
    assert why[1] == "No reading at rest could be judged."


@pytest.mark.parametrize(
    ("verdict", "conclusion", "differ"),
    [("pass", "dropouts_seen", True), ("pass", "rough", True), ("pass", "nothing_seen", False),
     ("fail", "nothing_seen", True), ("suspect", "dropouts_seen", False), ("fail", "cannot_tell", True),
     ("pass", "cannot_tell", True), ("pass", None, True), ("fail", None, True)],
)  # fmt: skip
def test_where_the_sweep_does_not_bear_the_verdict_out_it_is_said(verdict, conclusion, differ):
    swept = measures(conclusion=conclusion) if conclusion else None
    _, why = technician_verdict({"verdict": verdict}, swept)
    assert bool(why) is differ


def test_a_missing_verdict_is_none_and_no_pass():
    assert technician_verdict({"verdict": None}, None) == ("None recorded", [])
    word, why = technician_verdict(PASSED, None)
    assert (word, why) == (
        "Pass",
        ["There is no sweep to bear this out: it rests on what else the technician saw."],
    )


def test_what_the_sweep_could_have_missed_is_said_with_numbers_and_units():
    said = could_have_missed(measures(least_visible_depth_pct=0.55), profile(50))
    assert said[0].endswith("swept 0.4 to 99.7 % of travel.")
    assert "shorter than 5.0 ms, or shallower than 0.55 % of the applied voltage," in said[1]
    assert "narrower than 0.3 % of travel" in said[2]
    assert said[3].startswith("2 of 50 cells of travel")


def test_travel_left_out_and_limits_not_known_are_said():
    blank = {"shortest_visible_ms": None, "narrowest_visible_pct": None}
    said = could_have_missed(
        measures(covered_from_pct=10.0, covered_to_pct=60.0, **blank), profile(2).iloc[:0]
    )
    assert "What lies outside was not tested." in said[0]
    assert "cannot be told" in said[1]
    assert "cannot be told" in said[2]
    assert len(said) == 3


@pytest.mark.parametrize(
    ("narrowest", "said"), [(0.004, "0.1 %"), (0.3, "0.3 %"), (0.31, "0.4 %"), (4.0, "4 %")]
)
def test_no_patch_is_promised_to_show_that_is_narrower_than_it_must_be(narrowest, said):
    sentences = could_have_missed(measures(narrowest_visible_pct=narrowest), profile(50))
    assert sentences[2].startswith(f"Worn patches narrower than {said} of travel")


def test_one_drop_out_is_near_a_place_and_more_are_densest_there():
    one = rule_verdict(measures(dropout_count=1), checks())[1][0]
    assert one.startswith("1 drop-out, near 22 % of travel")
    nowhere = rule_verdict(measures(dropout_peak_travel_pct=None), checks())[1][0]
    assert "near" not in nowhere
