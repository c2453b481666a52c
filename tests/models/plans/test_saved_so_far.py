"""What the advice has saved: against hand-worked sums and limiting cases."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from models.plans.saved_so_far import ADVICE_OUTCOMES, saved_so_far
from models.plans.settings import PlanSettings
from models.risk.assumed import BetaPrior

#: An hour costs 100, a day off the road 10: sums can be worked by hand.
SETTINGS = replace(
    PlanSettings(),
    labour_cost_per_hour=100.0,
    test_hours=0.5,
    replace_hours=1.0,
    part_cost_if_unknown=120.0,
    call_in_cost=20.0,
    needless_replacement_cost=40.0,
    road_failure_cost=1000.0,
    day_off_road_cost=10.0,
    road_failure_days=2.0,
    complaint_days=1.0,
    complaint_hours=1.0,
)
HALF = BetaPrior(50.0, 50.0)
FLAGS = ("tested", "taken_off", "confirmed", "sound", "noticed")
#: Heard of at a share of one half: an hour to find it, 1.5 days at 10, half of 1,000.
HEARD = 100 + 15 + 500


def outcomes(*rows: str, part_cost: float | None = 80.0) -> pd.DataFrame:
    """One row each, by the flags that hold, such as ``"tested taken_off confirmed"``."""
    return ADVICE_OUTCOMES.check(
        pd.DataFrame(
            [
                {"sensor_id": f"S{n}", "first_on": f"2026-01-{n + 1:02d}", "part_cost": part_cost}
                | {flag: flag in row.split() for flag in FLAGS}
                for n, row in enumerate(rows)
            ],
            columns=ADVICE_OUTCOMES.names,
        )
    )


@pytest.mark.parametrize(
    ("row", "saved"),
    [
        ("", 0),
        ("tested", -(20 + 50)),
        ("tested taken_off confirmed", HEARD - 70),
        ("taken_off confirmed", HEARD - 20),
        ("taken_off sound", -(20 + 80 + 100 + 40)),
        ("tested taken_off sound", -(70 + 80 + 100 + 40)),
        ("taken_off", -20),
        ("tested taken_off confirmed noticed", 0),
        ("noticed", 0),
    ],
)
def test_each_way_that_advice_can_end_has_its_price(row, saved):
    assert saved_so_far(outcomes(row), HALF, SETTINGS).estimate == pytest.approx(saved)


def test_ways_add_up_and_are_counted():
    found = saved_so_far(
        outcomes("tested", "tested taken_off confirmed", "taken_off sound", "tested noticed"),
        HALF,
        SETTINGS,
    )
    assert found.estimate == pytest.approx(-70 + HEARD - 70 - 240)
    assert (found.advised, found.caught, found.tested, found.sound, found.noticed) == (
        4,
        1,
        2,
        1,
        1,
    )
    assert found.since == date(2026, 1, 1)


def test_a_part_without_a_price_takes_the_assumed_one():
    row = outcomes("taken_off sound", part_cost=None)
    assert saved_so_far(row, HALF, SETTINGS).estimate == pytest.approx(-(20 + 120 + 100 + 40))


def test_without_advice_nothing_was_saved_or_spent():
    found = saved_so_far(ADVICE_OUTCOMES.empty(), HALF, SETTINGS)
    assert (found.estimate, found.low, found.high, found.since) == (0.0, 0.0, 0.0, None)


def test_the_interval_is_that_of_the_share_of_road_failures():
    few = saved_so_far(outcomes("taken_off confirmed"), BetaPrior(1, 1), SETTINGS)
    # from 0.05 to 0.95: each hundredth adds 10 for the recovery and 0.1 for the second day
    assert few.low == pytest.approx(100 + 10 * 1.05 + 50 - 20)
    assert few.high == pytest.approx(100 + 10 * 1.95 + 950 - 20)
    many = saved_so_far(outcomes("taken_off confirmed"), BetaPrior(1e6, 1e6), SETTINGS)
    assert many.high - many.low < 2


@given(
    st.lists(st.lists(st.sampled_from(FLAGS), unique=True).map(" ".join), max_size=8),
    st.floats(0.5, 50),
    st.floats(0.5, 50),
)
def test_the_estimate_lies_in_its_interval_and_noticed_rows_change_nothing(rows, hits, misses):
    share = BetaPrior(hits, misses)
    found = saved_so_far(outcomes(*rows), share, SETTINGS)
    assert found.low - 1e-6 <= found.estimate <= found.high + 1e-6
    more = saved_so_far(outcomes(*rows, "tested taken_off confirmed noticed"), share, SETTINGS)
    assert more.estimate == pytest.approx(found.estimate)
