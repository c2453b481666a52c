"""The worked examples, through the same door as every shop's sweep (`measure_one`).

Clean line, one deep point and two bows, as definitions of the figures (potentiometer terms: output
smoothness, independent and terminal-based linearity). The figures are taken from cells of the
travel, so that a bow comes out up to 2 % of its own size lower than by the formula.
"""

import numpy as np
import pytest

from models.sweeps.measure import measure_one
from tests.models.sweeps.smoothness_by_definition import output_smoothness

TRAVEL = np.linspace(0, 1, 10_001)
LINE = 0.5 + 4 * TRAVEL


def _measured(output, travel=TRAVEL, channel=True):
    """Two passes up and two down at 1 kHz, resting at the stops, 5 V applied; 10 s a pass."""

    def passes(values):
        up = [np.full(300, values[0]), values, np.full(300, values[-1]), values[::-1]]
        return np.tile(np.concatenate(up), 2)

    signal = passes(output)
    t_s = np.arange(len(signal)) / 1000
    known = passes(100 * travel) if channel else None
    return measure_one(t_s, signal, supply_v=5.0, travel_pct=known).measures.iloc[0]


def test_a_clean_line_is_smooth_straight_and_the_same_both_ways():
    line = _measured(LINE)
    assert line["conclusion"] == "nothing_seen"
    for name in ("smoothness_pct", "linearity_independent_pct", "hysteresis_pct"):
        assert line[name] == pytest.approx(0, abs=1e-3)


def test_one_point_20_mv_deep_is_0_40_per_cent_of_5_v():
    output = LINE.copy()
    output[5000] -= 0.02
    assert _measured(output)["smoothness_pct"] == pytest.approx(0.40, abs=2e-3)


@pytest.mark.parametrize(
    ("bow_v", "independent_pct", "terminal_pct"),
    [(0.05 * np.sin(np.pi * TRAVEL), 0.50, 1.00), (0.05 * np.sin(2 * np.pi * TRAVEL), 0.682, 1.00)],
)
def test_bows_have_the_linearity_of_their_formula(bow_v, independent_pct, terminal_pct):
    bowed = _measured(LINE + bow_v)
    assert bowed["linearity_independent_pct"] == pytest.approx(independent_pct, rel=0.02)
    assert bowed["linearity_terminal_pct"] == pytest.approx(terminal_pct, rel=0.02)


def _rippled(pass_s, waves, channel):
    """Smoothness as measured over that by definition, of 5 mV waves over a pass that long."""
    travel = np.linspace(0, 1, 1000 * pass_s + 1)
    output = 0.5 + 4 * travel + 0.005 * np.sin(2 * np.pi * waves * travel)
    height, _ = output_smoothness(100 * travel, output)
    assert 20 * height > 0.1
    return _measured(output, travel, channel)["smoothness_pct"] / (20 * height)


WAVES = [60, 100, 200, 400, 800, 1600]


@pytest.mark.parametrize("pass_s", [3, 10])
@pytest.mark.parametrize("waves", WAVES)
def test_with_a_travel_channel_smoothness_is_that_by_definition(waves, pass_s):
    assert _rippled(pass_s, waves, channel=True) == pytest.approx(1, abs=0.08)


@pytest.mark.parametrize("waves", WAVES)
def test_without_one_too_while_a_pass_takes_no_more_than_5_s(waves):
    assert _rippled(3, waves, channel=False) == pytest.approx(1, abs=0.08)
    assert _rippled(5, waves, channel=False) == pytest.approx(1, abs=0.08)


def test_under_a_slower_hand_without_one_fine_grain_counts_and_a_slow_ripple_is_the_hands():
    share = np.array([_rippled(10, waves, channel=False) for waves in WAVES])
    assert np.all(np.diff(share[:4]) > 0)
    assert share[0] < 0.5
    assert share[3:] == pytest.approx(1, abs=0.08)
    assert share.max() < 1.08
