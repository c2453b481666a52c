"""Passes laid over the travel."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from models.sweeps.over_travel import LEAST_A_PASS, OVER_TRAVEL, lay_over_travel
from models.sweeps.schemas import DROPOUTS, PASSES

RATE_HZ = 200.0
PASS_S = 4.0


def swept(pass_count: int = 4, *, travel: bool = False) -> pd.DataFrame:
    """Straight passes between 0.5 and 4.5 V."""
    length = int(PASS_S * RATE_HZ)
    opening = np.linspace(0.0, 100.0, length)
    place = np.concatenate([opening if n % 2 == 0 else opening[::-1] for n in range(pass_count)])
    return pd.DataFrame(
        {
            "t_s": np.arange(place.size) / RATE_HZ,
            "signal": 0.5 + 0.04 * place,
            "travel_pct": place if travel else np.nan,
        }
    )


def passes(pass_count: int = 4) -> pd.DataFrame:
    rows = PASSES.empty().reindex(range(pass_count))
    number = np.arange(pass_count)
    return rows.assign(
        session_id="T",
        pass_no=number + 1,
        direction=np.where(number % 2 == 0, "opening", "closing"),
        start_s=PASS_S * number,
        end_s=PASS_S * (number + 1) - 1.0 / RATE_HZ,
    )


def laid(samples: pd.DataFrame, count: int = 4, **values) -> pd.DataFrame:
    known = {"applied": 5.0, "closed_output": 0.5, "open_output": 4.5}
    dropouts = values.pop("dropouts", DROPOUTS.empty())
    return lay_over_travel(samples, passes(count), dropouts, **(known | values))


@pytest.mark.parametrize("travel", [True, False])
def test_a_straight_track_is_a_straight_line_whether_or_not_the_position_is_recorded(travel):
    frame = laid(swept(travel=travel))
    straight = 10.0 + 0.8 * frame["travel_pct"]
    assert np.allclose(frame["output_pct"], straight, atol=0.01 if travel else 0.5)
    assert set(frame["pass_no"]) == {1, 2, 3, 4}


def test_a_drop_out_stands_at_its_travel_and_keeps_its_depth():
    samples = swept()
    at = int(0.3 * PASS_S * RATE_HZ)
    samples.loc[at : at + 3, "signal"] = 0.0
    dropouts = DROPOUTS.empty().reindex(range(1)).assign(start_s=at / RATE_HZ, length_s=4 / RATE_HZ)
    frame = laid(samples, dropouts=dropouts)
    deepest = frame.loc[frame["output_pct"].idxmin()]
    assert deepest["output_pct"] == 0.0
    assert deepest["travel_pct"] == pytest.approx(30.0, abs=1.0)


def test_a_falling_output_still_runs_from_the_closed_to_the_open_stop():
    samples = swept(travel=False).assign(signal=lambda rows: 5.0 - rows["signal"])
    frame = laid(samples, closed_output=4.5, open_output=0.5)
    first = frame[frame["pass_no"] == 1]
    assert first["travel_pct"].iloc[0] < 5
    assert first["travel_pct"].iloc[-1] > 95


def test_gaps_of_the_position_are_filled_and_a_channel_that_seldom_reads_is_not_used():
    some = swept(travel=True)
    some.loc[10:40, "travel_pct"] = np.nan
    assert np.allclose(laid(some)["output_pct"], 10.0 + 0.8 * laid(some)["travel_pct"], atol=0.01)
    few = swept(travel=True).assign(
        travel_pct=lambda rows: rows["travel_pct"].where(rows.index < 9)
    )
    assert laid(few)["travel_pct"].max() > 90


@pytest.mark.parametrize(
    "values",
    [{"applied": np.nan}, {"closed_output": np.nan}, {"closed_output": 0.5, "open_output": 0.5}],
)
def test_what_cannot_be_placed_is_left_out(values):
    assert laid(swept(), **values).empty


def test_nothing_swept_gives_an_empty_frame_as_declared():
    for frame in (laid(swept(2).iloc[:0], 0), laid(swept(4).iloc[:0]), laid(swept(2), 0)):
        assert list(frame.columns) == list(OVER_TRAVEL.names)
        assert frame.empty


@settings(max_examples=25)
@given(count=st.integers(1, 60), n_points=st.integers(10, 5000), seed=st.integers(0, 99))
def test_points_are_few_within_the_travel_and_hold_each_pass_extremes(count, n_points, seed):
    samples = swept(count)
    noise = np.random.default_rng(seed).normal(0, 0.01, len(samples))
    samples["signal"] += noise
    frame = laid(samples, count, n_points=n_points)
    assert len(frame) <= max(LEAST_A_PASS, n_points // count) * count + 4 * count
    assert frame["travel_pct"].between(0, 100).all()
    starts = np.searchsorted(samples["t_s"], passes(count)[["start_s", "end_s"]].to_numpy())
    for number, (first, last) in enumerate(starts, 1):
        drawn = frame.loc[frame["pass_no"] == number, "output_pct"]
        whole = 20.0 * samples["signal"].iloc[first:last]
        assert (drawn.min(), drawn.max()) == pytest.approx((whole.min(), whole.max()))
