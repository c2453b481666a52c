import numpy as np
import pytest

from models.sweeps.nature import Events, fault_nature, narrow_over_broad

LOW, HIGH = np.zeros(6), np.full(6, 100.0)


def events(*rows, beside_rest=True):
    """Rows of travel, pass number; even passes open. Each event is 0.2 % wide."""
    at = np.array([r[0] for r in rows], dtype=float)
    number = np.array([r[1] for r in rows])
    return Events(at - 0.1, at + 0.1, number, number % 2 == 0, np.full(at.size, beside_rest))


def test_the_same_place_on_most_passes_both_ways_is_a_worn_track():
    found = events((40.0, 0), (40.2, 1), (39.9, 2), (40.1, 4))
    assert fault_nature(found, LOW, HIGH) == "worn_track"


def test_the_same_place_in_one_direction_only_is_undecided():
    found = events((40.0, 0), (40.2, 2), (39.9, 4))
    assert fault_nature(found, LOW, HIGH) == "undecided"


def test_two_passes_are_enough_only_both_ways_and_at_the_very_place():
    assert fault_nature(events((40.0, 0), (40.1, 1)), LOW, HIGH) == "worn_track"
    assert fault_nature(events((40.0, 0), (40.9, 1)), LOW, HIGH) == "undecided"
    assert fault_nature(events((40.0, 0), (40.1, 2)), LOW, HIGH) == "undecided"
    assert fault_nature(events((40.0, 0)), LOW, HIGH) == "undecided"


def test_all_over_the_travel_is_wandering():
    found = events((12.0, 0), (35.0, 1), (36.5, 2), (47.0, 3), (45.0, 4), (14.0, 5))
    assert fault_nature(found, LOW, HIGH) == "wandering"


def test_a_lead_tugged_about_one_place_is_not_called_worn():
    rng = np.random.default_rng(3)
    called = []
    for _ in range(200):
        number = np.repeat(np.arange(6), 2)
        at = 50.0 + 2.5 * rng.standard_normal(6)[number] + 0.8 * np.tile([0, 1], 6)
        called.append(fault_nature(events(*zip(at, number, strict=True)), LOW, HIGH))
    assert called.count("worn_track") <= 4


@pytest.mark.parametrize(("passes", "nature"), [(4, "undecided"), (5, "worn_track")])
def test_within_two_percent_of_a_stop_five_passes_must_find_it(passes, nature):
    found = events(*[(1.0 + 0.02 * k, k) for k in range(passes)])
    assert fault_nature(found, LOW, HIGH) == nature


def test_near_a_stop_nothing_counts_that_no_rest_there_stands_beside():
    found = [(1.0 + 0.02 * k, k) for k in range(6)]
    assert fault_nature(events(*found, beside_rest=False), LOW, HIGH) == "undecided"
    assert fault_nature(events(*found), LOW, HIGH) == "worn_track"


def test_nothing_is_none_and_rest_at_a_stop_is_undecided():
    nothing = events()
    assert fault_nature(nothing, LOW, HIGH) == "none"
    assert fault_nature(events((0.1, -1), (0.1, -1)), LOW, HIGH) == "undecided"


def test_the_ratio_is_that_of_two_kernel_densities():
    # Two drop-outs in the same place on two passes: 0.9 N(0; s) + 0.001 for either width.
    def density(s):
        return 0.9 / (s * np.sqrt(2 * np.pi)) + 0.001

    expected = np.log(density(0.4) / density(3.0))
    at = events((40.1, 0), (39.9, 1))
    assert narrow_over_broad(at) == pytest.approx(expected)
