"""When the tests have moved far enough for a new wear map: golden and limiting cases."""

from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pandas as pd
import pytest

from models.wear.evidence_moved import (
    FEW_TESTS,
    MOST_DAYS,
    RESTED_ON,
    WearEvidence,
    most_moved,
    moved,
    why_refit,
)
from models.wear.evidence_moved import tests_rested_on as rested_on
from models.wear.schemas import FAILURES
from tests.models.wear.simulated_wear import Truth, simulate_wear

DAY = date(2026, 6, 1)
N, LIVES, WITH = 10_000, 5_000, 1_000


def swept(n=N) -> pd.DataFrame:
    """Two tests of every life; the first lives have drop-outs in both."""
    life = np.arange(n) % LIVES
    return pd.DataFrame(
        {
            "session_id": [f"T-{k:05d}" for k in range(n)],
            "life_id": [f"L-{k:05d}" for k in life],
            "part_no": np.where(life % 2, "A", "B"),
            "duty": np.where(life % 3, "courier", None),
            "has_dropouts": life < WITH,
            "key": [f"{k:032x}" for k in range(n)],
        }
    )


def failures_of(n=400) -> pd.DataFrame:
    return FAILURES.check(
        pd.DataFrame({"life_id": [f"L-{k:05d}" for k in range(n)], "failed_age_km": 30_000.0})
    )


THEN = WearEvidence("then", DAY, swept(), failures_of())


def after(**other) -> str:
    return why_refit(THEN, replace(THEN, data="now", **other))


def with_more(places, like=None) -> pd.DataFrame:
    """A further test of some lives, or of lives of their own that are like them."""
    tests = THEN.tests
    more = tests.iloc[list(places)].copy()
    more["session_id"] = [f"N-{k:05d}" for k in range(len(more))]
    more["key"] = [f"n{k:031x}" for k in range(len(more))]
    return pd.concat([tests, more.assign(**(like or {}))], ignore_index=True)


def test_the_same_records_never_lead_to_a_fit():
    assert why_refit(THEN, replace(THEN, day=DAY + timedelta(days=400))) == ""
    few = replace(THEN, tests=swept(3))
    assert why_refit(few, few) == ""


def test_a_day_s_tests_leave_the_fit_standing():
    assert after(tests=with_more(range(990, 1_050))) != ""  # ten lives with drop-outs
    assert after(tests=with_more(range(993, 1_093))) == ""  # seven, and 93 without
    assert after(tests=with_more([WITH + 5])) == ""


def test_a_quarter_of_a_standard_error_of_lives_with_drop_outs_leads_to_a_new_fit():
    assert most_moved(WITH) == 8
    assert after(tests=with_more(range(7))) == ""
    assert "8 sensor lives with drop-outs are new" in after(tests=with_more(range(8)))
    gone = THEN.tests.drop(index=range(8))
    assert "8 sensor lives with drop-outs" in after(tests=gone)
    changed = THEN.tests.copy()
    changed.loc[:7, "key"] = "other"
    assert "8 sensor lives with drop-outs" in after(tests=changed)


def test_a_share_of_the_tests_leads_to_a_new_fit():
    sound = range(WITH, WITH + 201)
    assert "201 tests are new, changed or gone beside 10,000" in after(tests=with_more(sound))
    assert after(tests=with_more(sound[:200])) == ""


def test_failures_are_held_to_the_same():
    assert most_moved(400) == 5
    moved_on = failures_of()
    moved_on.loc[:3, "failed_age_km"] += 1.0
    assert after(failures=moved_on) == ""
    moved_on.loc[:4, "failed_age_km"] += 1.0
    assert "5 failures are new, changed or gone beside 400" in after(failures=moved_on)
    assert "failures" in after(failures=failures_of(395))
    assert after(failures=moved_on.assign(failed_age_km=30_000.4)) == ""


@pytest.mark.parametrize(
    ("like", "named"), [({"part_no": "C"}, "part C"), ({"duty": "hire"}, "duty hire")]
)
def test_a_part_and_duty_that_come_together_lead_to_a_new_fit(like, named):
    assert named in after(tests=with_more([WITH + 5], like))
    without = THEN.tests[THEN.tests["part_no"].ne("B") | THEN.tests["duty"].notna()]
    assert "part B has been tested on duty unknown no more" in after(tests=without)


def test_of_few_tests_any_change_leads_to_a_new_fit():
    few = replace(THEN, tests=swept(FEW_TESTS - 1))
    assert "each counts" in why_refit(few, replace(few, data="other"))
    enough = replace(THEN, tests=swept(FEW_TESTS))
    assert why_refit(enough, replace(enough, data="other")) == ""


def test_an_old_fit_and_one_of_a_later_day_are_made_anew():
    assert after(day=DAY + timedelta(days=MOST_DAYS)) == ""
    assert "31 days old" in after(day=DAY + timedelta(days=MOST_DAYS + 1))
    assert "a later day" in after(day=DAY - timedelta(days=1))


def rested_of(records):
    return rested_on(records.tests, records.counts.any(axis=1), records.keys)


def test_what_a_fit_rests_on_is_told_test_by_test():
    records = simulate_wear(30, 73_020, Truth()).records
    tests = rested_of(records)
    assert list(tests.columns) == list(RESTED_ON)
    assert tests["has_dropouts"].to_numpy().tolist() == (records.counts.any(axis=1)).tolist()
    then = WearEvidence("one", DAY, tests, FAILURES.empty())
    assert moved(then, then) == type(moved(then, then))(0, 0, 0)
    fewer = replace(then, tests=rested_of(records.take(np.arange(5, len(records)))))
    found = moved(then, fewer)
    assert found.tests == 5
    gone = tests.iloc[:5]
    assert found.lives_with_dropouts == gone.loc[gone["has_dropouts"], "life_id"].nunique()
