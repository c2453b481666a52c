from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from models.risk.assumed import ENTRY_AGES_KM
from models.risk.lives import (
    LivesError,
    checked_lives,
    entry_ages,
    found_on_entry,
    overlap,
    rows_of,
)
from tests.models.risk.published_lives import lives


def test_an_impossible_life_is_refused_by_row_and_value():
    with pytest.raises(LivesError, match=r"row 1: good_km is 5.0, expected at least entry_km"):
        checked_lives(lives([0, 10], [5.0, 5.0], [np.nan, np.nan]))
    with pytest.raises(LivesError, match=r"row 0: bad_km is 4.0, expected blank or at least good"):
        checked_lives(lives(0.0, [5.0], [4.0]))
    with pytest.raises(LivesError, match=r"row 0: entry_km is -1.0"):
        checked_lives(lives(-1.0, [5.0], [np.nan]))
    with pytest.raises(LivesError, match="no column bad_km"):
        checked_lives(lives(0.0, [5.0], [np.nan]).drop(columns="bad_km"))


def test_a_defect_already_there_at_first_sight_is_not_an_event_after_entry():
    seen = checked_lives(lives([100.0, 100, 0], [100.0, 100, 50], [100.0, 120, 50]))
    assert found_on_entry(seen).tolist() == [True, False, False]


def test_unknown_ages_are_spread_as_known_ones_were_at_first_sight():
    entry = np.array([10.0, 20, 30, 40, 50, 0, 0, 0])
    known = [True] * 7 + [False]
    seen = checked_lives(lives(entry, entry + 5, np.full(8, np.nan), age_known=known))
    ages = entry_ages(seen)
    assert ages.min() >= 10
    assert ages.max() <= 50
    assert np.median(ages) == 30


def test_with_few_seen_in_use_every_watched_km_counts_alike():
    seen = checked_lives(lives(0.0, [100.0, 100.0], [np.nan, np.nan]))
    assert entry_ages(seen) == pytest.approx((np.arange(7) + 0.5) / 7 * 100, abs=8)


def test_with_no_known_age_the_assumed_ages_stand_in():
    seen = checked_lives(lives(0.0, [100.0], [np.nan], age_known=False))
    assert entry_ages(seen).tolist() == list(ENTRY_AGES_KM)


def test_a_life_of_unknown_age_enters_at_each_age_with_weights_that_add_to_one():
    seen = checked_lives(lives(0.0, [10.0, 20.0], [15.0, np.nan], age_known=[False, True]))
    rows = rows_of(seen, np.array([0.0, 100.0]))
    assert rows.life.tolist() == [0, 0, 1]
    assert rows.weight.tolist() == [0.5, 0.5, 1.0]
    assert rows.entry.tolist() == [0, 100, 0]
    assert rows.bad[:2].tolist() == [15, 115]


@given(
    st.lists(st.tuples(st.floats(0, 100), st.floats(0, 100)).map(sorted), min_size=1, max_size=20),
    st.integers(1, 17),
)
def test_no_km_is_lost_or_made_when_spans_are_cut(spans, cells):
    low, high = np.array(spans).T
    edges = np.linspace(0, 100, cells + 1)
    parts = overlap(low, high, edges)
    assert np.bincount(parts.row, parts.km, len(low)) == pytest.approx(high - low, abs=1e-9)
    assert (parts.km >= 0).all()
    assert (parts.km <= 100 / cells + 1e-9).all()
    assert (np.diff(parts.row) >= 0).all()
