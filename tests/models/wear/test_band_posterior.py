"""Place, width and chance of a band as they are told."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from models.wear.band_grid import CENTRES_PCT, WIDTHS_PCT
from models.wear.band_posterior import Posterior, chance_of, edges, middle_and_limits


def place_of(**shares):
    place = np.zeros((1, len(CENTRES_PCT)))
    for name, share in shares.items():
        place[0, int(name[1:])] = share
    return place


def posterior_of(place, width):
    return Posterior(np.zeros(1), place, np.eye(len(WIDTHS_PCT))[[width]])


def test_even_odds_are_a_half_and_far_odds_stay_within_bounds():
    assert chance_of(np.array([0.0, 1e6, -1e6])) == pytest.approx([0.5, 1.0, 0.0], abs=1e-12)


def test_a_place_that_is_sure_has_limits_of_its_own_cell():
    middle, low, high = middle_and_limits(place_of(p40=1.0))
    assert (middle[0], low[0], high[0]) == pytest.approx((40.5, 40.0, 41.0))


def test_the_middle_is_that_of_the_likeliest_stretch_and_the_limits_hold_nine_in_ten():
    middle, low, high = middle_and_limits(place_of(p20=0.3, p21=0.3, p22=0.3, p80=0.1))
    assert middle[0] == pytest.approx(21.5)
    assert low[0] <= 20.5
    assert high[0] >= 80.0


def test_a_band_stands_about_its_middle_by_its_width():
    begin, end = edges(posterior_of(place_of(p50=1.0), 2))
    assert (begin[0], end[0]) == pytest.approx((50.5 - WIDTHS_PCT[2] / 2, 50.5 + WIDTHS_PCT[2] / 2))


def test_a_band_ends_at_the_stop():
    begin, end = edges(posterior_of(place_of(p0=1.0), len(WIDTHS_PCT) - 1))
    assert begin[0] == 0.0
    assert end[0] == pytest.approx(0.5 + WIDTHS_PCT[-1] / 2)


@given(st.lists(st.floats(0.0, 1.0), min_size=100, max_size=100))
def test_the_middle_lies_within_the_limits(shares):
    place = np.array([shares]) + 1e-6
    middle, low, high = middle_and_limits(place / place.sum())
    assert 0.0 <= low[0] <= middle[0] <= high[0] <= 100.0
