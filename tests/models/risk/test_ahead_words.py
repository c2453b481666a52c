from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from models.plans.wording import risk_sentences
from models.risk.ahead_words import about_in_100, ahead_words, all_in_100

#: Where the wording turns, and beside it.
EDGES = [0.0, 0.00499, 0.005, 0.00501, 0.015, 0.025, 0.5, 0.985, 0.995, 0.9999, 1.0, np.nan]


@pytest.mark.parametrize(
    ("chances", "words"),
    [
        ((0.04, 0.02, 0.07), "about 4 in 100, likely 2 to 7"),
        ((0.04, 0.001, 0.07), "about 4 in 100, likely up to 7"),
        ((0.001, 0.0001, 0.004), "less than 1 in 100, likely less than 1"),
        ((0.999, 0.97, 0.9999), "more than 99 in 100, likely 97 to more than 99"),
        ((0.041, 0.039, 0.0402), "about 4 in 100, likely 4"),
        ((0.04, np.nan, np.nan), "about 4 in 100"),
        ((np.nan, np.nan, np.nan), "not known"),
    ],
)
def test_a_chance_in_words(chances, words):
    assert about_in_100(*chances) == words


@settings(max_examples=50)
@given(st.lists(st.floats(0, 1), min_size=3, max_size=3).map(sorted))
def test_the_words_are_those_of_the_advice(ends):
    low, chance, high = ends
    row = {
        "defect_now": chance,
        "defect_now_low": low,
        "defect_now_high": high,
        "defect_5000_km": np.nan,
    }
    assert risk_sentences(row) == [f"Chance of a defect now: {about_in_100(chance, low, high)}."]


@settings(max_examples=50)
@given(
    st.lists(
        st.tuples(*[st.one_of(st.sampled_from(EDGES), st.floats(0, 1))] * 3), min_size=1, max_size=9
    )
)
def test_many_are_worded_as_each(rows):
    chances = np.array(rows, dtype=float)
    assert all_in_100(chances).tolist() == [about_in_100(*row) for row in chances.tolist()]


def test_a_sentence_tells_when_and_that_a_date_is_a_guess():
    row = {"defect": 0.04, "defect_low": 0.02, "defect_high": 0.07}
    row |= {"road": 0.01, "road_low": 0.001, "road_high": 0.02}
    blank = dict.fromkeys(row, np.nan)
    rows = [
        {"horizon_kind": "km", "horizon": 5_000.0, "km": 5_000.0, "odometer_stale": True} | row,
        {"horizon_kind": "days", "horizon": 30.0, "km": 1_234.5, "odometer_stale": True} | row,
        {"horizon_kind": "days", "horizon": 30.0, "km": 200.0, "odometer_stale": False} | blank,
    ]
    said = "a defect about 4 in 100, likely 2 to 7; a road failure about 1 in 100, likely up to 2."
    guess = " The odometer has not been read for long, so the date is a guess."
    assert ahead_words(pd.DataFrame(rows)) == [
        f"Within 5,000 km: {said}",
        f"Within 30 days (about 1,234 km): {said}{guess}",
        "Within 30 days (about 200 km): not known.",
    ]
