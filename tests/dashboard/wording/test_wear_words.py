import pytest

from dashboard.wording.wear_words import (
    band,
    gathers,
    passes,
    passes_in_short,
    progress,
    rests_on,
    slowest,
    use_answer,
)
from tests.dashboard import fake_wear as fakes


def sensor(**values) -> dict:
    return fakes.sensors(1).to_dict("records")[0] | values


def test_a_common_place_is_told_with_its_numbers():
    everyone, flat, _, few = fakes.choices().to_dict("records")
    said = gathers(everyone)
    for part in ("4 and 28 % of travel", "2.9 times", "102 sensor lives", "1,069 tests"):
        assert part in said
    assert gathers(flat).startswith("These sensors show no common place")
    assert "is not known: 3 sensor lives" in gathers(few)


def test_a_band_is_told_with_its_limits_and_never_as_quite_sure():
    said = band(sensor())
    assert "5 to 8 % of travel" in said
    assert "likely 5 to 8 %" in said
    assert "more than 99 in 100 sure" in said
    assert "reaches a stop" in band(sensor(at_stop=True))


def test_weak_evidence_is_never_told_as_a_sound_track():
    said = band(sensor(confidence=0.2))
    assert said.startswith("No worn band is shown")
    assert "no statement that the track is sound" in said
    assert progress(sensor(confidence=0.2)) == []


@pytest.mark.parametrize(
    ("answer", "words"),
    [
        ("km expected", "at 14,600 km of its own run (likely 12,200 to 28,100 km)"),
        ("level reached", "has reached the level"),
        ("not enough known", "is not known"),
    ],
)
def test_when_its_like_failed_is_told_as_far_as_known(answer, words):
    assert words in progress(sensor(answer=answer))[1]


def test_a_life_that_is_over_is_not_expected_to_fail():
    assert len(progress(sensor(in_service=False))) == 1


def test_a_single_sight_of_a_band_says_nothing_of_its_movement():
    once = sensor(moved_pct_per_1000km=None)
    assert "is not known: two tests" in progress(once)[0]
    assert "\u22120.2 % in 1,000 km" in progress(sensor())[0]


def test_where_to_sweep_slowest_still_asks_for_the_rest():
    said = slowest(fakes.stretches())
    assert "4 to 8 and 96 to 100 % of travel" in said
    assert "82 of 100 parts" in said
    assert said.endswith("Sweep the rest too.")
    assert "none of its own" in slowest(fakes.stretches().assign(from_own_tests=False))


def test_a_logger_that_is_too_slow_is_said_to_be():
    narrow, wide, _ = fakes.passes().to_dict("records")
    assert passes(narrow) == "no number of passes is enough at 50 Hz: log faster"
    assert passes(wide) == "3 passes, no faster than 30 % of travel a second"
    assert passes_in_short(fakes.passes()).endswith(
        "1 % wide there: 3 passes, no faster than 30 % of travel a second."
    )
    assert passes_in_short(fakes.passes().iloc[:0]) == ""


def test_dwell_or_sliding_is_not_claimed_without_enough_bikes():
    assert "cannot be told yet" in use_answer(fakes.about())
    held = use_answer(fakes.about(use_answer="dwell", use_n_bikes=9))
    assert held.startswith("Wear follows where the throttle is held")
    assert "9 of them" in held


def test_what_the_map_rests_on_names_its_counts():
    said = " ".join(rests_on(fakes.about()))
    assert "1,069 tests of 250 sensors with 931 drop-outs" in said
