"""Planted slips where the calendar has no such day."""

import numpy as np

from models.simulate.mistakes import plant
from models.simulate.shops import simulate_shops


def test_a_test_on_a_leap_day_is_not_moved_to_a_day_that_does_not_exist():
    frames = simulate_shops(2, n_bikes=60, sweeps=False, mistakes=False).tables
    tests = frames["test_sessions"].copy()
    here = frames["sensors"].query("origin == 'fitted_here'")["sensor_id"]
    quiet = (
        tests["verdict"].eq("pass") & tests["reason"].eq("routine") & tests["sensor_id"].isin(here)
    )
    assert quiet.sum() >= 2
    first = tests.index[quiet][0]
    tests.loc[first, "tested_at"] = "2024-02-29T09:00:00+01:00"
    _, slips = plant(np.random.default_rng(0), frames | {"test_sessions": tests})
    assert not slips["value"].str.startswith("2021-02-29").any()
    assert slips["slip"].str.contains("year mistyped").any()
