import numpy as np
import pytest

from models.wear.band_grid import CENTRES_PCT
from models.wear.drift import blurred, drift_pct
from models.wear.seen import in_life_order


def drift_of(case):
    records = case.records
    return drift_pct(records, in_life_order(records)[0])


def test_bands_that_stand_still_are_not_taken_to_move(followed):
    assert drift_of(followed) < 0.25


def test_the_movement_of_bands_is_found(moving):
    assert drift_of(moving) == pytest.approx(0.8, abs=0.25)


def test_too_few_tests_show_no_movement(followed):
    records = followed.records.take(np.arange(20))
    assert drift_pct(records, in_life_order(records)[0]) == 0.0


def test_a_place_is_blurred_as_far_as_it_may_be_off():
    place = np.zeros((3, 100))
    place[:, 40] = 1.0
    out = blurred(place, np.array([0.0, 1.0, 3.0]))
    assert out.sum(axis=1) == pytest.approx(np.ones(3))
    assert out[0, 40] == 1.0
    spread = np.sqrt(out @ CENTRES_PCT**2 - (out @ CENTRES_PCT) ** 2)
    assert spread[1:] == pytest.approx([1.0, 3.0], abs=0.1)


def test_what_lies_beyond_a_stop_stays_at_the_stop():
    place = np.zeros((1, 100))
    place[0, 0] = 1.0
    out = blurred(place, np.array([2.0]))
    assert out.sum() == pytest.approx(1.0)
    assert out[0, 0] > out[0, 1]
