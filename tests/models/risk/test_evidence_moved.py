"""When the evidence has moved far enough for a new fit: golden, limiting and property cases."""

from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from models.risk.evidence_moved import (
    FEW_LIVES,
    MOST_DAYS,
    Evidence,
    most_defects,
    moved,
    why_refit,
)

DAY = date(2026, 6, 1)
N, DEFECTS = 4_000, 900


def lives(n=N, defects=DEFECTS) -> pd.DataFrame:
    """Every life followed from 0 to 10,000 km; the first ones end with a defect."""
    found = np.arange(n) < defects
    return pd.DataFrame(
        {
            "life_id": [f"S-{k:05d}" for k in range(n)],
            "part_no": np.where(np.arange(n) % 2, "A", "B"),
            "duty": "courier",
            "repaired": False,
            "age_known": True,
            "entry_km": 0.0,
            "good_km": np.where(found, 9_000.0, 10_000.0),
            "bad_km": np.where(found, 10_000.0, np.nan),
            "road_failure": found & (np.arange(n) % 9 == 0),
        }
    )


THEN = Evidence("then", DAY, lives(), 20_000)


def after(frame: pd.DataFrame, **other) -> str:
    return why_refit(THEN, replace(THEN, data="now", lives=frame, **other))


def with_defects(frame: pd.DataFrame, places, *, road=False) -> pd.DataFrame:
    frame = frame.copy()
    frame.loc[frame.index[list(places)], ["bad_km", "road_failure"]] = [10_000.0, road]
    return frame


def test_the_same_records_never_lead_to_a_fit():
    old = replace(THEN, day=DAY + timedelta(days=400))
    assert why_refit(THEN, old) == ""
    few = replace(THEN, lives=lives(3, 1))
    assert why_refit(few, few) == ""


def test_few_lives_are_fitted_anew_at_any_change():
    few = replace(THEN, lives=lives(FEW_LIVES - 1, 50))
    assert "each counts" in why_refit(few, replace(few, data="now"))


def test_a_quarter_of_the_uncertainty_is_the_golden_bound():
    # 0.25 sqrt(900) = 7.5
    assert most_defects(900) == 8
    assert most_defects(3_000) == 14
    assert most_defects(0) == most_defects(16) == 1
    # three of part A and four of part B are below one standard error of each
    assert after(with_defects(lives(), range(900, 907))) == ""
    assert "8 defects" in after(with_defects(lives(), range(900, 908)))


def test_road_failures_count_by_themselves():
    # 100 road failures: 0.25 sqrt(100) = 2.5
    assert after(with_defects(lives(), range(900, 902), road=True)) == ""
    assert "3 road failures" in after(with_defects(lives(), range(900, 903), road=True))


def test_km_followed_count_as_defects_do():
    # 0.25 / sqrt(900) = 1 in 120 of 40 million km: 333,333 km
    frame = lives()
    frame.loc[2_000:2_332, "good_km"] += 1_000.0
    assert after(frame) == ""
    frame.loc[2_333, "good_km"] += 1_000.0
    assert "km followed" in after(frame)


@pytest.mark.parametrize("column", ["part_no", "duty", "repaired", "age_known", "entry_km"])
def test_lives_that_changed_what_they_are_count_as_taken_back_and_new(column):
    frame = lives()
    other = {"part_no": "C", "duty": None, "repaired": True, "age_known": False, "entry_km": 1.0}
    frame[column] = frame[column].astype("object")
    frame.loc[:3, column] = other[column]
    found = moved(lives(), frame.infer_objects())
    assert found.defects == 8  # four defects taken back, and four new
    assert "8 defects" in after(frame.infer_objects())


def test_defects_taken_back_count_as_new_ones_do():
    frame = lives()
    frame.loc[:7, "bad_km"] = np.nan
    assert "8 defects" in after(frame)
    assert "8 defects" in after(lives().iloc[8:])
    moved_on = lives()
    moved_on.loc[:7, "bad_km"] += 500.0
    assert "8 defects" in after(moved_on)


def test_a_bad_batch_of_one_part_does_not_wait_for_the_fleet():
    # four defects of a part that had four: one standard error of its own is two
    then = lives()
    then.loc[then.index[880:900], "part_no"] = "D"
    then.loc[then.index[884:900], "bad_km"] = np.nan
    then.loc[then.index[884:900], "good_km"] = 10_000.0
    then.loc[then.index[884:900], "road_failure"] = False
    now = with_defects(then, range(890, 893))
    small = replace(THEN, lives=then)
    assert "3 defects of part D" in why_refit(small, replace(small, data="now", lives=now))


def test_tests_days_and_an_earlier_day():
    assert after(lives(), n_tests=20_400) == ""
    assert "401 tests" in after(lives(), n_tests=20_401)
    assert after(lives(), day=DAY + timedelta(days=MOST_DAYS)) == ""
    assert "31 days old" in after(lives(), day=DAY + timedelta(days=MOST_DAYS + 1))
    assert "later day" in after(lives(), day=DAY - timedelta(days=1))


@given(st.integers(0, 5), st.integers(0, 5), st.integers(0, 5), st.randoms(use_true_random=False))
def test_what_moved_is_counted_whatever_the_order_and_both_ways(new, back, gone, random):
    then = lives(40, 20)
    now = with_defects(then, range(20, 20 + new))
    now.loc[now.index[:back], "bad_km"] = np.nan
    now = now.drop(index=now.index[20 - gone : 20])
    shuffled = now.iloc[random.sample(range(len(now)), len(now))]
    there, again = moved(then, now), moved(shuffled, then)
    assert there.defects == again.defects == new + back + gone
    assert there.km == pytest.approx(again.km)
    assert there.defects_by_part.sum() == there.defects


@given(st.integers(0, 10_000), st.integers(1, 10_000))
def test_more_defects_never_allow_fewer_to_move(defects, more):
    assert most_defects(defects) <= most_defects(defects + more)
