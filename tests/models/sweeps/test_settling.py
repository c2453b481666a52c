"""A stop's own settling is never called wear; a worn spot beside the stop can be."""

import numpy as np
import pytest

from models.simulate.bench import simulate_sweep
from models.simulate.hand import HandMotion
from models.sweeps.measure import measure_one
from models.sweeps.settling import beside_stops
from tests.models.sweeps.synthetic import triangle_travel, volts


def bounces(t_s, travel, *, height_pct, hz, fade_s, leaving=False, seed=None):
    """Travel that bounces off each stop on arrival (and jerks before leaving it), each pass alike.

    With a seed the bounces differ in height and pace from pass to pass.
    """
    rng = np.random.default_rng(seed)
    out = travel.copy()
    for stop, into in ((0.0, 1.0), (100.0, -1.0)):
        still = np.abs(travel - stop) < 0.3
        edge = np.diff(still.astype(int), prepend=0, append=0)
        for begin, end in zip(np.flatnonzero(edge == 1), np.flatnonzero(edge == -1), strict=True):
            size, pace = (1.0, 1.0) if seed is None else rng.uniform(0.6, 1.4, 2)
            own = slice(begin, end)
            for since in (t_s[own] - t_s[begin], t_s[end - 1] - t_s[own])[: 1 + leaving]:
                wave = np.abs(np.sin(2 * np.pi * pace * hz * since)) * np.exp(-since / fade_s)
                out[own] += into * size * height_pct * wave
    return out


CASES = [
    dict(height_pct=h, hz=hz, fade_s=fade, leaving=leaving, seed=seed)
    for h in (3.0, 8.0)
    for hz, fade in ((15.0, 0.04), (40.0, 0.02), (25.0, 0.15))
    for leaving, seed in ((False, None), (True, None), (True, 1))
]


@pytest.mark.parametrize("how", CASES, ids=str)
@pytest.mark.parametrize("tracks", [1, 2])
def test_settling_alone_is_never_called_worn_nor_a_lead(how, tracks):
    t, travel = triangle_travel(passes=8, pass_s=2.5)
    settling = bounces(t, travel, **how)
    y, b = volts(settling), volts(settling, seed=5) * 0.5 if tracks == 2 else None
    row = measure_one(t, y, supply_v=5.0, signal_b=b).measures.iloc[0]
    assert row["fault_nature"] in ("none", "undecided")


def test_settling_of_a_simulated_hand_is_never_called_worn():
    seen = 0
    for seed in range(8):
        rng = np.random.default_rng([88, seed])
        sweep = simulate_sweep(rng, rate_hz=1000.0, hand=HandMotion(passes=8))
        off = bounces(
            sweep.t_s, sweep.true_travel_pct, height_pct=5.0, hz=20.0, fade_s=0.05,
            leaving=bool(seed % 2), seed=seed,
        ) - sweep.true_travel_pct  # fmt: skip
        slope = np.ptp(sweep.noise_free) / 100.0
        row = measure_one(sweep.t_s, sweep.signal + slope * off, supply_v=5.0).measures.iloc[0]
        seen += row["dropout_count"] > 0
        assert row["fault_nature"] in ("none", "undecided")
    assert seen >= 4


def test_what_is_seen_at_a_stop_stands_in_the_tables_with_its_uncertainty():
    t, travel = triangle_travel()
    settling = bounces(t, travel, height_pct=5.0, hz=40.0, fade_s=0.02)
    results = measure_one(t, volts(settling), supply_v=5.0)
    assert len(results.dropouts) >= 6
    assert results.dropouts["travel_pct"].notna().all()
    assert (results.dropouts["travel_error_pct"] > 0).all()
    ends = results.profile["dropout_count"].to_numpy()[[0, -1]]
    assert ends.sum() == len(results.dropouts)
    finding = results.findings.set_index("finding").loc["dropouts_at_stop"]
    assert finding["count"] == len(results.dropouts)


def spot_beside_stop(spot_pct, rest_s, passes=6, bounce_pct=0.0):
    """A worn spot that near the closed stop, met on every pass, with the stop's bounces besides.

    Bounces higher than the spot is away disturb the travel read beside them, so it stays undecided.
    """
    t, travel = triangle_travel(passes=passes, pass_s=3.0, rest_s=rest_s, rate_hz=1000.0)
    course = bounces(t, travel, height_pct=bounce_pct, hz=25.0, fade_s=0.03)
    y = volts(course)
    above = travel > spot_pct
    for place in np.flatnonzero(above[1:] != above[:-1]) + 1:
        y[place : place + 3] -= 0.4
    return measure_one(t, y, supply_v=5.0).measures.iloc[0]["fault_nature"]


@pytest.mark.parametrize("bounce_pct", [0.0, 2.0])
def test_a_worn_spot_beside_a_stop_is_found_once_five_passes_rest_there(bounce_pct):
    assert spot_beside_stop(1.3, rest_s=0.4, bounce_pct=bounce_pct) == "worn_track"
    assert spot_beside_stop(1.3, rest_s=0.4, passes=4, bounce_pct=bounce_pct) == "undecided"


def test_without_a_rest_at_the_stop_it_stays_undecided():
    assert spot_beside_stop(1.3, rest_s=0.02, passes=8) == "undecided"


def test_a_drop_out_between_the_touches_is_the_stops_own_and_one_before_them_is_not():
    t = np.arange(8000) / 1000.0  # 25 % of the travel a second, at the stop from 3.5 to 4.5 s
    level = 10.0 + 20.0 * np.clip(np.abs(t - 4.0) - 0.5, 0.0, None)
    first = np.array([500, 3440, 4000, 4560])
    beside = beside_stops(t, level, first, first + 2, (10.0, 90.0), 0.01)
    assert beside.own.tolist() == [False, False, True, False]
    assert beside.dwells.tolist() == [False, True, True, True]


def test_where_the_stops_are_not_known_nothing_dwells():
    t = np.arange(100) / 100.0
    beside = beside_stops(t, t, np.array([5]), np.array([6]), (np.nan, np.nan), 0.1)
    assert not beside.own.any()
    assert not beside.dwells.any()
