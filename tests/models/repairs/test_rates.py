"""Shares with their intervals, held against a reference library."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from statsmodels.stats.proportion import proportion_confint

from models.repairs.rates import REPAIR_JOBS, jeffreys_interval, repair_rates

TODAY = pd.Timestamp("2026-06-01")


def jobs(**values) -> pd.DataFrame:
    count = len(next(iter(values.values())))
    known = {
        "outcome_id": [f"R{n}" for n in range(count)],
        "closed_on": "2026-01-01",
        "part_no": "P1",
        "model_code": "alder",
        "shop_id": "s1",
        "shop_name": "Weir Lane",
        "action": "other_repair",
        "came_back_on": None,
    }
    return REPAIR_JOBS.check(pd.DataFrame(known | values, index=range(count)))


@settings(max_examples=60)
@given(st.integers(1, 400), st.floats(0, 1), st.sampled_from([0.8, 0.9, 0.95]))
def test_the_interval_is_that_of_statsmodels_within_its_ends(n, part, level):
    """statsmodels 0.14, ``proportion_confint(method="jeffreys")``."""
    hits = round(n * part)
    low, high = jeffreys_interval(np.array([hits]), np.array([n]), level=level)
    theirs = proportion_confint(hits, n, alpha=1 - level, method="jeffreys")
    if hits > 0:
        assert low[0] == pytest.approx(theirs[0], abs=1e-10)
    if hits < n:
        assert high[0] == pytest.approx(theirs[1], abs=1e-10)
    assert 0 <= low[0] <= hits / n <= high[0] <= 1


def test_none_and_all_reach_the_ends_and_nothing_counted_is_blank():
    low, high = jeffreys_interval(np.array([0, 5, 0]), np.array([5, 5, 0]))
    assert (low[0], high[1]) == (0.0, 1.0)
    assert np.isnan([low[2], high[2]]).all()


def test_the_interval_holds_about_as_often_as_it_says():
    """Exact coverage over all outcomes of 30 jobs; Brown et al. (2001) find it near the level."""
    from scipy.stats import binom

    n, hits = 30, np.arange(31)
    low, high = jeffreys_interval(hits, np.full(31, n))
    shares = np.linspace(0.02, 0.98, 97)
    held = [binom.pmf(hits, n, p)[(low <= p) & (p <= high)].sum() for p in shares]
    assert np.mean(held) == pytest.approx(0.90, abs=0.02)


def test_no_fault_found_is_counted_by_part_model_and_shop_and_never_by_person():
    frame = jobs(
        action=["no_fault_found", "no_fault_found", "sensor_replaced", "other_repair"],
        part_no=["P1", "P2", "P1", "P1"],
        model_code=["alder", "alder", "birch", "birch"],
        shop_id=["s1", "s2", "s2", "s2"],
        shop_name=["Yard", "Yard", "Yard", "Yard"],
    )
    found = repair_rates(frame, TODAY)
    own = found[found["rate"].eq("no_fault_found")].set_index(["by", "group_id"])
    assert own.loc[("all", "all"), ["n", "hits"]].tolist() == [4, 2]
    assert own.loc[("part", "P1"), ["n", "hits"]].tolist() == [3, 1]
    assert own.loc[("model", "birch"), ["n", "hits"]].tolist() == [2, 0]
    # two shops of one name stay apart
    assert own.loc["shop", "n"].tolist() == [1, 3]
    assert set(found["by"]) == {"all", "part", "model", "shop"}


def test_a_job_that_had_no_time_to_come_back_is_not_counted_among_comebacks():
    frame = jobs(
        closed_on=["2026-01-01", "2026-01-01", "2026-01-01", "2026-03-03", "2026-03-04"],
        came_back_on=[None, "2026-04-01", "2026-04-02", None, "2026-03-06"],
    )
    found = repair_rates(frame, TODAY).set_index(["rate", "by"])
    assert found.loc[("comeback", "all"), ["n", "hits"]].tolist() == [4, 1]
    assert found.loc[("no_fault_found", "all"), "n"] == 5


def test_without_jobs_each_rate_is_blank_over_all_and_there_is_no_group():
    found = repair_rates(REPAIR_JOBS.empty(), TODAY)
    assert found["by"].tolist() == ["all", "all"]
    assert found["n"].tolist() == [0, 0]
    assert found[["share", "low", "high"]].isna().all(axis=None)
