import numpy as np
import pytest

from models.simulate.bench import simulate_sweep
from models.simulate.hand import HandMotion
from models.simulate.logger import Logger
from models.sweeps.measure import measure_one
from models.sweeps.smoothness import off_line, pieces
from tests.models.sweeps.smoothness_by_definition import output_smoothness

RNG = np.random.default_rng(8)
Y = RNG.standard_normal(400).astype(np.float32)
FIRST, COUNT = np.array([0, 7, 20, 100, 390]), np.array([7, 7, 4, 60, 10])


def _by_polyfit(against):
    for first, count in zip(FIRST, COUNT, strict=True):
        own = slice(first, first + count)
        x = against[own] - against[own].mean()
        yield np.ptp(Y[own] - np.polyval(np.polyfit(x, Y[own].astype(float), 1), x))


@pytest.mark.parametrize("uneven", [False, True])
def test_each_window_is_laid_against_its_own_least_squares_line(uneven):
    against = 1e3 + 0.005 * (np.arange(400) + uneven * RNG.uniform(-0.4, 0.4, 400))
    expected = np.array(list(_by_polyfit(against)))
    assert off_line(Y, FIRST, COUNT, against) == pytest.approx(expected, rel=1e-4)
    if not uneven:
        assert off_line(Y, FIRST, COUNT) == pytest.approx(expected, rel=1e-4)


def test_a_window_in_which_the_position_stands_still_departs_from_its_mean():
    assert off_line(Y, FIRST, COUNT, np.full(400, 3.0)) == pytest.approx(
        [np.ptp(Y[a : a + n]) for a, n in zip(FIRST, COUNT, strict=True)]
    )


def test_pieces_fill_their_window_and_are_no_longer_than_allowed():
    first, count, begins = pieces(FIRST, COUNT, np.full(5, 9))
    assert count.max() <= 9
    assert np.add.reduceat(count, begins).tolist() == COUNT.tolist()
    assert first[begins].tolist() == FIRST.tolist()
    inside = np.setdiff1d(np.arange(1, first.size), begins)
    assert first[inside].tolist() == (first + count)[inside - 1].tolist()


def _rippled_by_hand(pass_s, seed, step_pct=0.01, noise_v=0.0003):
    """A simulated hand over 60 waves of 5 mV: measured with a channel, without, by definition."""
    hand = HandMotion(pass_s=pass_s, reversal_chance=0.0, partial_chance=0.0)
    quiet = Logger(bits=16, noise_v=noise_v)
    rng = np.random.default_rng([77, seed])
    sweep = simulate_sweep(rng, rate_hz=1000.0, hand=hand, logger=quiet, record_travel=True)
    output = sweep.signal + 0.005 * np.sin(2 * np.pi * 0.6 * sweep.true_travel_pct)
    channel = np.round(sweep.travel_pct / step_pct) * step_pct
    figures = [
        measure_one(sweep.t_s, output, supply_v=5.0, travel_pct=c)
        .measures["smoothness_pct"]
        .iloc[0]
        for c in (channel, None)
    ]
    moving = (sweep.true_travel_pct > 2) & (sweep.true_travel_pct < 98)
    passes = [
        moving & (sweep.t_s >= p.start_s) & (sweep.t_s <= p.end_s)
        for p in sweep.passes.itertuples()
    ]
    truth = max(output_smoothness(sweep.true_travel_pct[p], 20 * output[p])[0] for p in passes)
    return *figures, truth


@pytest.mark.parametrize("pass_s", [3.0, 10.0])
def test_a_trembling_hand_is_taken_out_where_a_channel_knows_the_travel(pass_s):
    rows = np.array([_rippled_by_hand(pass_s, seed) for seed in range(3)])
    with_channel, _, truth = rows.T
    assert with_channel == pytest.approx(truth, rel=0.15)
    assert np.median(with_channel / truth) == pytest.approx(1, abs=0.08)


def test_a_coarse_channel_does_not_make_the_output_rough():
    fine, without, _ = _rippled_by_hand(3.0, 1)
    coarse = _rippled_by_hand(3.0, 1, step_pct=0.4)[0]
    assert fine <= without
    assert coarse <= without
