import numpy as np
import pytest

from models.simulate.bench import simulate_sweep
from models.simulate.hand import HandMotion
from models.sweeps.measure import measure_one
from tests.models.sweeps.synthetic import healthy, triangle_travel, volts


def passes_of(t, travel, **how):
    return measure_one(t, volts(travel), supply_v=5.0, **how).passes


def test_passes_between_rests_with_their_times_and_ends():
    t, travel = triangle_travel(passes=4, pass_s=3.0, rest_s=0.5)
    found = passes_of(t, travel)
    assert found["direction"].tolist() == ["opening", "closing"] * 2
    assert found["start_s"].to_numpy() == pytest.approx([0.5, 4.0, 7.5, 11.0], abs=0.1)
    assert (found["end_s"] - found["start_s"]).to_numpy() == pytest.approx(3.0, abs=0.15)
    assert found["from_pct"].tolist() == pytest.approx([0, 100, 0, 100], abs=1.5)
    assert found["speed_pct_per_s"].to_numpy() == pytest.approx(33.3, abs=1.0)


def test_pauses_and_tremor_make_no_pass():
    _, travel = triangle_travel(passes=2)
    middle = int(np.argmax(travel > 40.0))
    paused = np.concatenate([travel[:middle], np.full(300, travel[middle]), travel[middle:]])
    shaking = np.clip(paused + 0.2 * np.sin(np.arange(paused.size) * 0.3), 0.0, 100.0)
    assert len(passes_of(np.arange(paused.size) / 200.0, shaking)) == 2


def test_a_reversal_and_a_partial_pass_are_passes_but_not_full_ones():
    legs = [(0, 60), (60, 45), (45, 100), (100, 30), (30, 100), (100, 0)]
    travel = np.concatenate([np.linspace(a, b, abs(b - a) * 6, endpoint=False) for a, b in legs])
    travel = np.concatenate([np.zeros(60), travel, np.zeros(60)])
    t = np.arange(travel.size) / 200.0
    results = measure_one(t, volts(travel), supply_v=5.0)
    assert len(results.passes) == 6
    assert results.measures.iloc[0]["pass_count"] == 1


@pytest.mark.parametrize("falling", [False, True])
def test_travel_is_estimated_between_the_stops(falling):
    t, y, _ = healthy(falling=falling)
    row = measure_one(t, y, supply_v=5.0).measures.iloc[0]
    assert row["travel_source"] == "estimated"
    assert row["closed_output"] == pytest.approx(4.4 if falling else 0.6, abs=0.01)
    assert 0.5 < row["travel_error_pct"] < 1.5


def test_a_position_channel_stands_above_the_estimate_and_gives_linearity_and_hysteresis():
    t, travel = triangle_travel()
    lag = np.where(np.gradient(travel) < 0, 0.010, 0.0)
    bowed = 0.6 + 0.038 * travel + 0.05 * np.sin(np.pi * travel / 100.0) + lag
    row = measure_one(t, bowed, supply_v=5.0, travel_pct=travel).measures.iloc[0]
    assert row["travel_source"] == "channel"
    assert row["linearity_independent_pct"] == pytest.approx(0.5, abs=0.15)
    assert row["linearity_terminal_pct"] == pytest.approx(1.0, abs=0.25)
    assert row["hysteresis_pct"] == pytest.approx(0.2, abs=0.03)
    assert np.isnan(measure_one(t, bowed, supply_v=5.0).measures.iloc[0]["hysteresis_pct"])


def test_simulated_passes_are_counted():
    for i in range(6):
        rng = np.random.default_rng([404, i])
        hand = HandMotion(passes=8, pass_s=3.0, reversal_chance=0.0, partial_chance=0.0)
        sweep = simulate_sweep(rng, hand=hand)
        row = measure_one(sweep.t_s, sweep.signal, supply_v=sweep.supply_v).measures.iloc[0]
        assert (row["passes_opening"], row["passes_closing"]) == (4, 4)
