import numpy as np
import pytest

from models.statics.doubts import order_doubts, signs_by_majority, signs_by_output, unit_doubts


def asked(frame, name, row=0):
    return unit_doubts(frame)[name].get(row, "")


@pytest.mark.parametrize(
    ("given", "name", "words"),
    [
        ({"supply_v": 5012.0}, "supply_v", "millivolts (5.012 V)"),
        ({"supply_v": 503.0}, "supply_v", "decimal point missing (5.030 V)"),
        ({"supply_v": 77.0}, "supply_v", "what did the meter show"),
        ({"closed_v": 510.0}, "closed_v", "millivolts (0.510 V)"),
        ({"closed_v": -0.6}, "closed_v", "leads swapped"),
        ({"track_ohm": 4.6}, "track_ohm", "kilohms (4,600 ohm)"),
        ({"track_ohm": 4600.0, "closed_ohm": 0.92}, "closed_ohm", "kilohms (920 ohm)"),
        ({"track_ohm": 4.6, "closed_ohm": 0.92}, "closed_ohm", "kilohms (920 ohm)"),
        ({"open_ohm": -3.0}, "open_ohm", "negative"),
        ({"track_ohm": np.inf}, "track_ohm", "open circuit"),
        ({"closed_pct": -400.0}, "closed_pct", "what did the control unit show"),
        ({"closed_pct": 0.0, "open_pct": 1.0}, "open_pct", "share from 0 to 1"),
    ],
)
def test_a_miswritten_reading_is_asked_about(bench_tests, given, name, words):
    question = asked(bench_tests(given), name)
    assert words in question
    assert question.endswith("?")


@pytest.mark.parametrize(
    "given",
    [
        {"supply_v": 5.01, "closed_v": 0.5, "open_v": 4.5},
        {"supply_v": 12.4},  # battery voltage on the supply is a fault, and possible
        {"track_ohm": 4600.0, "closed_ohm": 120.0, "open_ohm": 4500.0},
        {"closed_pct": 0.0, "open_pct": 100.0},
        {},
    ],
)
def test_a_possible_reading_is_not_asked_about(bench_tests, given):
    assert not any(unit_doubts(bench_tests(given)).values())


def test_exchanged_ends_are_asked_about_by_the_part_s_output(bench_tests):
    frame = bench_tests(
        {"closed_v": 4.5, "open_v": 0.5},
        {"closed_v": 4.5, "open_v": 0.5, "output": "falling"},
        {"closed_v": 0.5, "open_v": 4.5},
        {"closed_v": 4.5, "open_v": 0.5, "output": None},
        {"closed_v": 2.50, "open_v": 2.45},
        {"closed_pct": 99.0, "open_pct": 1.0},
    )
    none = np.zeros(len(frame), dtype=int)
    questions = order_doubts(frame, signs_by_output(frame), none)
    assert list(questions["closed_v"]) == [0]
    assert questions["closed_v"][0] == questions["open_v"][0]
    assert "exchanged" in questions["open_pct"][5]


def test_the_majority_of_a_part_tells_which_way_resistance_goes(bench_tests):
    up = {"closed_ohm": 900.0, "open_ohm": 3600.0}
    down = {"closed_ohm": 3600.0, "open_ohm": 900.0}
    clear = signs_by_majority(bench_tests(*[up] * 9, down))
    assert list(clear.values()) == [1]
    split = signs_by_majority(bench_tests(*[up] * 5, *[down] * 5))
    assert split == {}
    few = signs_by_majority(bench_tests(*[up] * 4))
    assert few == {}
