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


def _measured(output):
    """Two slow passes up and two down at 1 kHz, resting at the stops, 5 V applied."""

    def passes(values):
        up = [np.full(300, values[0]), values, np.full(300, values[-1]), values[::-1]]
        return np.tile(np.concatenate(up), 2)

    signal = passes(output)
    t_s = np.arange(len(signal)) / 1000
    results = measure_one(t_s, signal, supply_v=5.0, travel_pct=passes(100 * TRAVEL))
    return results.measures.iloc[0]


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


def _ripple(waves):
    return LINE + 0.005 * np.sin(2 * np.pi * waves * TRAVEL)


@pytest.mark.parametrize("waves", [400, 800, 1600])
def test_fine_grain_comes_near_its_smoothness_by_definition(waves):
    """The line is drawn over some 60 ms of time: grain much finer comes within a third."""
    height, _ = output_smoothness(100 * TRAVEL, _ripple(waves))
    assert _measured(_ripple(waves))["smoothness_pct"] == pytest.approx(20 * height, rel=0.33)


def test_a_ripple_slower_than_the_line_is_taken_for_the_hand():
    """A known limit, wide open under a very slow hand (10 s a pass): 60 waves are passed over."""
    height, _ = output_smoothness(100 * TRAVEL, _ripple(60))
    assert 20 * height > 0.1
    assert _measured(_ripple(60))["smoothness_pct"] < 0.01
