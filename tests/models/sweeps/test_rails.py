"""Recordings cut off at a rail, told where anything tells them, and never a stop taken for one."""

import numpy as np
import pytest

from models.simulate.bench import simulate_sweep
from models.simulate.hand import HandMotion
from models.simulate.logger import Logger
from models.simulate.track import TrackState
from models.sweeps.measure import measure_one
from models.sweeps.rails import find_rails
from tests.models.sweeps.synthetic import triangle_travel, volts


def recorded(seed, logger, rate_hz=200.0, output="rising"):
    rng = np.random.default_rng([66, seed])
    hand = HandMotion(partial_chance=0.0)
    ends = (0.12, 0.88) if output == "rising" else (0.88, 0.12)
    sensor = TrackState(closed_fraction=ends[0], open_fraction=ends[1])
    return simulate_sweep(rng, rate_hz=rate_hz, sensor=sensor, hand=hand, logger=logger)


def said(sweep):
    results = measure_one(sweep.t_s, sweep.signal, supply_v=sweep.supply_v)
    return results.measures.iloc[0]["conclusion"], set(results.findings["finding"])


@pytest.mark.parametrize("output", ["rising", "falling"])
@pytest.mark.parametrize("bits", [8, 10, 12])
def test_a_converters_last_code_is_a_rail_though_no_noise_shows(bits, output):
    step_v = 4.096 / 2**bits
    cut = Logger(
        bits=bits, full_scale_v=4.096, clip_high_v=4.096 - step_v, noise_v=0.1 * step_v
    )  # fmt: skip
    for seed in range(2):
        conclusion, names = said(recorded(seed, cut, output=output))
        assert "clipped" in names
        assert conclusion == "cannot_tell"


def test_a_reading_held_at_code_zero_is_a_rail():
    t, travel = triangle_travel()
    y = np.maximum(volts(travel, noise_v=0.001, step_v=0.02) - 1.0, 0.0)
    assert "clipped" in set(measure_one(t, y, supply_v=5.0).findings["finding"])


@pytest.mark.parametrize(
    ("rate_hz", "noise_steps", "least"), [(1000.0, 0.4, 6), (1000.0, 0.9, 6), (200.0, 0.6, 4)]
)
def test_noise_below_a_step_shows_a_rail_by_the_flicker_that_is_missing(
    rate_hz, noise_steps, least
):
    told = 0
    for seed in range(6):
        cut = Logger(bits=10, clip_high_v=3.3, noise_v=0.005 * noise_steps)
        conclusion, names = said(recorded(seed, cut, rate_hz))
        if "clipped" in names:
            told += 1
            assert conclusion == "cannot_tell"
    assert told >= least


@pytest.mark.parametrize("bits", [12, 14, 16])
def test_a_rail_that_noise_comes_in_behind_is_told(bits):
    for seed in range(3):
        cut = Logger(bits=bits, clip_high_v=3.3, noise_v=0.003)
        assert "clipped" in said(recorded(seed, cut))[1]


@pytest.mark.parametrize("bits", [8, 10, 12, 16])
@pytest.mark.parametrize("noise_v", [0.0, 0.0005, 0.001, 0.003])
def test_a_rest_at_a_stop_is_no_rail_however_coarse_or_quiet(bits, noise_v):
    for seed, rate_hz in enumerate((200.0, 200.0, 1000.0)):
        _, names = said(recorded(seed, Logger(bits=bits, noise_v=noise_v), rate_hz))
        assert "clipped" not in names


def test_a_trembling_rest_at_one_stop_does_not_make_the_other_a_rail():
    """Tremor of a hand that presses lasts longer than a sample: it is no noise."""
    t, travel = triangle_travel(rest_s=1.0)
    pressed = travel + 0.5 * np.sin(2 * np.pi * 9.0 * t) * (travel < 0.1)
    y = volts(pressed, noise_v=0.0, step_v=0.005)
    assert "clipped" not in set(measure_one(t, y, supply_v=5.0).findings["finding"])


def test_drop_outs_to_nothing_stand_at_no_rail():
    t, travel = triangle_travel()
    y = volts(travel, noise_v=0.001, step_v=0.02)
    for k in range(8):
        y[200 + 450 * k : 240 + 450 * k] = 0.0
    results = measure_one(t, y, supply_v=5.0)
    assert "clipped" not in set(results.findings["finding"])
    assert results.dropouts["travel_pct"].notna().all()


def test_a_coarse_converter_that_may_hide_a_rail_is_asked_about():
    cut = recorded(0, Logger(bits=8, clip_high_v=3.3, noise_v=0.001))
    assert {"coarse_steps"} <= said(cut)[1]
    assert "coarse_steps" not in said(recorded(0, Logger()))[1]


def test_the_level_of_the_rail_and_the_step_are_given():
    t, travel = triangle_travel()
    y = np.minimum(20.0 * volts(travel, noise_v=0.003), 66.0).astype(np.float32)
    bounds = np.array([0, t.size])
    rails = find_rails(y, y, bounds, np.array([0.06]))
    assert rails.level_pct == pytest.approx([66.0])
    assert rails.step_pct == pytest.approx([0.025], rel=1e-3)
    low = find_rails(100 - y, 100 - y, bounds, np.array([0.06]))
    assert low.level_pct == pytest.approx([34.0])
