"""Drop-outs found and not found, on the search alone and against simulated truth."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.ndimage import grey_closing, grey_opening

from models.simulate.bench import simulate_sweep
from models.simulate.hand import HandMotion
from models.simulate.track import random_track, random_worn_band
from models.sweeps.dropouts import find_dropouts
from models.sweeps.morphology import closing, opening
from models.sweeps.noise import clocks, noise_sigma
from tests.models.sweeps.synthetic import healthy, worn


def search(t, volt, supply_v=5.0):
    y = (100.0 * volt / supply_v).astype(np.float32)
    bounds = np.array([0, t.size])
    return find_dropouts(t, y, bounds, clocks(t, bounds).step_s, noise_sigma(y, bounds))


def test_closing_and_opening_are_scipys():
    y = np.random.default_rng(1).standard_normal(300)
    for window in (5, 9, 21):
        margin = window - 1
        padded = np.pad(y, margin, mode="edge")
        inner = slice(margin, -margin)  # scipy treats the borders otherwise
        np.testing.assert_array_equal(
            closing(padded, window)[inner], grey_closing(y, window)[inner]
        )
        np.testing.assert_array_equal(
            opening(padded, window)[inner], grey_opening(y, window)[inner]
        )


@pytest.mark.parametrize(
    ("depth", "length"),
    [(0.1, 1), (0.1, 3), (0.3, 12), (1.5, 1), (1.5, 12), (-0.2, 1), (-0.2, 3), (-0.5, 12)],
)
def test_both_signs_and_all_depths_are_found_with_their_length(depth, length):
    t, y, at = worn(depth_v=depth, length=length)
    found, bridged = search(t, y)
    assert found.runs.first.tolist() == at.tolist()
    assert (found.runs.last - found.runs.first + 1).tolist() == [length] * at.size
    assert np.all(np.sign(found.depth) == -np.sign(depth))
    assert np.abs(found.depth) == pytest.approx(20.0 * abs(depth), abs=0.45)
    assert np.abs(np.diff(bridged)).max() < 0.8


def test_a_fault_longer_than_the_window_is_one_drop_out():
    t, y, _ = healthy()
    y[900:1060] = 0.02
    found, _ = search(t, y)
    assert (found.runs.first.tolist(), found.runs.last.tolist()) == ([900], [1059])


def test_a_reading_that_lifts_to_the_supply_is_found():
    t, y, _ = healthy()
    y[700:705] = 5.0
    found, _ = search(t, y)
    assert found.runs.first.tolist() == [700]
    assert found.depth[0] > 0


def test_two_drop_outs_with_a_good_sample_between_are_two():
    t, y, _ = healthy()
    y[700:703] -= 1.0
    y[704:706] -= 0.7
    found, _ = search(t, y)
    assert found.runs.first.tolist() == [700, 704]


def test_a_hand_that_turns_back_drops_nothing_out():
    t = np.arange(0.0, 12.0, 0.005)
    travel = 50.0 + 40.0 * np.sin(2 * np.pi * 0.5 * t) + 1.5 * np.sin(2 * np.pi * 4.0 * t)
    y = 0.6 + 0.038 * travel + 0.002 * np.random.default_rng(0).standard_normal(t.size)
    assert len(search(t, y)[0]) == 0


def test_hitting_a_stop_at_speed_drops_nothing_out():
    t = np.arange(0.0, 10.0, 0.005)
    travel = np.clip(60.0 + 70.0 * np.sin(2 * np.pi * 0.6 * t), 0.0, 100.0)
    y = 0.6 + 0.038 * travel + 0.002 * np.random.default_rng(0).standard_normal(t.size)
    assert len(search(t, y)[0]) == 0


def test_shallower_than_the_noise_allows_is_not_reported():
    t, y, _ = worn(depth_v=0.012, noise_v=0.006)
    assert len(search(t, y)[0]) == 0


@pytest.mark.parametrize("rate_hz", [200.0, 1000.0])
def test_visible_drop_outs_of_simulated_worn_tracks_are_found_and_no_others(rate_hz):
    visible = found_count = reports = true_reports = 0
    for i in range(25):
        rng = np.random.default_rng([403, int(rate_hz), i])
        sensor = replace(random_track(rng), worn=(random_worn_band(rng),))
        sweep = simulate_sweep(rng, rate_hz=rate_hz, sensor=sensor, hand=HandMotion(pass_s=3.0))
        found, _ = search(sweep.t_s, sweep.signal, sweep.supply_v)
        start, end = sweep.t_s[found.runs.first], sweep.t_s[found.runs.last]
        begin = sweep.dropouts["start_s"].to_numpy()
        until = begin + sweep.dropouts["length_s"].to_numpy()
        slack = 1.5 / rate_hz
        meets = (start[:, None] <= until + slack) & (end[:, None] >= begin - slack)
        seen = sweep.dropouts["visible"].to_numpy(dtype=bool)
        visible += seen.sum()
        found_count += (seen & meets.any(axis=0)).sum()
        reports += len(found)
        true_reports += meets.any(axis=1).sum()
    assert found_count >= 0.99 * visible
    assert true_reports >= 0.99 * reports
    assert visible > 100
