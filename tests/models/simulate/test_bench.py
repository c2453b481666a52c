"""One sweep: what the recording shows agrees with the truth beside it."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from models.simulate.bench import CHANNELS, EVENT_COLUMNS, simulate_sweep, visible_share
from models.simulate.hand import HandMotion, move_hand
from models.simulate.logger import Logger
from models.simulate.track import (
    LeadFault,
    TrackState,
    WornBand,
    random_lead_fault,
    random_track,
    random_worn_band,
)

SILENT = Logger(noise_v=0.0, bits=24)
WORN = TrackState(worn=(WornBand(40.0, 3.0, spots_pct=(39.0, 41.0), lift_chance=1.0),))


def _sweep(seed=0, **kwargs):
    return simulate_sweep(np.random.default_rng(seed), **kwargs)


@pytest.mark.parametrize("channel", CHANNELS)
def test_a_sound_sensor_has_no_drop_out(channel):
    sweep = _sweep(channel=channel, rate_hz=8.0 if channel == "percent" else 200.0)
    assert sweep.dropouts.empty
    assert list(sweep.dropouts.columns) == EVENT_COLUMNS
    np.testing.assert_array_equal(sweep.noise_free, sweep.without_breaks)


def test_without_noise_the_recording_is_the_noise_free_signal():
    sweep = _sweep(sensor=WORN, logger=SILENT)
    np.testing.assert_allclose(sweep.signal, sweep.noise_free, atol=6e-5)


def test_recorded_noise_has_the_stated_sigma():
    logger = Logger(noise_v=0.003, bits=16)
    sweep = _sweep(rate_hz=1000.0, logger=logger)
    assert np.std(sweep.signal - sweep.noise_free) == pytest.approx(logger.sigma_v, rel=0.05)


@pytest.mark.parametrize("rate_hz", [2.0, 200.0, 5000.0])
def test_samples_come_at_the_stated_rate(rate_hz):
    sweep = _sweep(rate_hz=rate_hz)
    np.testing.assert_allclose(np.diff(sweep.t_s), 1.0 / rate_hz, rtol=1e-6)


def test_jittered_times_still_run_forward():
    sweep = _sweep(logger=Logger(timestamps="jittered", jitter=0.2))
    gaps = np.diff(sweep.t_s)
    assert gaps.min() > 0.0
    assert gaps.std() > 1e-4


def test_gaps_repeats_and_swaps_are_in_the_recording():
    sweep = _sweep(logger=Logger(gaps=2, gap_s=0.5, duplicated=0.02, reordered=0.02))
    steps = np.diff(sweep.t_s)
    assert steps.max() > 0.2
    assert (steps == 0.0).any()
    assert (steps < 0.0).any()


def test_a_worn_spot_lifts_off_on_every_pass_at_its_place():
    hand = HandMotion(passes=6, reversal_chance=0.0, partial_chance=0.0)
    sweep = _sweep(sensor=WORN, hand=hand, rate_hz=1000.0)
    lows = sweep.dropouts[sweep.dropouts.travel_pct < 40.0]
    assert sorted(lows.pass_no) == list(range(6))
    assert set(lows.direction) == {"opening", "closing"}
    assert np.abs(lows.travel_pct - 39.0).max() < 1.0
    assert (sweep.dropouts.cause == "worn").all()


def test_lengths_of_lift_offs_lie_within_their_limits_unless_two_run_together():
    lengths = [
        _sweep(
            seed, sensor=replace(WORN, worn=(replace(WORN.worn[0], spots_pct=(41.0,)),))
        ).dropouts.length_s
        for seed in range(5)
    ]
    lengths = np.concatenate(lengths)
    assert lengths.min() >= 0.001
    assert lengths.max() <= 0.030


@given(seed=st.integers(0, 2**32 - 1), rate_hz=st.sampled_from([50.0, 200.0, 1000.0]))
@settings(max_examples=25)
def test_visible_means_a_deep_noise_free_sample_inside_the_event(seed, rate_hz):
    rng = np.random.default_rng(seed)
    sensor = replace(random_track(rng), worn=(random_worn_band(rng),), lead=random_lead_fault(rng))
    sweep = simulate_sweep(rng, sensor=sensor, rate_hz=rate_hz)
    depth = np.abs(sweep.without_breaks - sweep.noise_free)
    inside = np.zeros(len(depth), dtype=bool)
    for row in sweep.dropouts.itertuples():
        samples = (sweep.t_s >= row.start_s) & (sweep.t_s < row.start_s + row.length_s)
        inside |= samples
        deepest = depth[samples].max(initial=0.0)
        assert row.samples == samples.sum()
        assert row.depth_pct == pytest.approx(100.0 * deepest / 5.0)
        assert row.visible == (deepest > max(0.035, 8.0 * sweep.logger.sigma_v))
    assert not depth[~inside].any()
    starts = sweep.dropouts.start_s
    assert starts.is_monotonic_increasing
    assert ((starts + sweep.dropouts.length_s).to_numpy()[:-1] < starts.to_numpy()[1:]).all()


@given(seed=st.integers(0, 2**32 - 1), speed=st.floats(0.8, 6.0))
@settings(max_examples=25)
def test_the_hand_stays_between_the_stops_and_its_passes_follow_on(seed, speed):
    motion = move_hand(np.random.default_rng(seed), HandMotion(pass_s=speed))
    assert motion.travel_pct.min() >= 0.0
    assert motion.travel_pct.max() <= 100.0
    assert len(motion.passes) == 6
    assert (motion.passes.start_s[1:].to_numpy() > motion.passes.end_s[:-1].to_numpy()).all()
    np.testing.assert_array_equal(motion.passes.to_pct[:-1], motion.passes.from_pct[1:])
    assert ((motion.passes.to_pct - motion.passes.from_pct).abs() == 100.0).equals(
        motion.passes.complete
    )


def test_a_falling_output_falls_and_lift_offs_still_go_to_ground():
    falling = replace(WORN, closed_fraction=0.88, open_fraction=0.12)
    sweep = _sweep(sensor=falling)
    assert np.corrcoef(sweep.true_travel_pct, sweep.without_breaks)[0, 1] < -0.99
    assert (sweep.noise_free <= sweep.without_breaks).all()


def test_the_ends_are_the_tracks_fractions_of_the_actual_supply():
    sensor = TrackState(bow=0.0, conformity=(), grain_ohm=0.0)
    sweep = _sweep(sensor=sensor, logger=replace(SILENT, pull_down_ohm=1e12), supply_v=4.9)
    assert sweep.noise_free.min() == pytest.approx(0.12 * 4.9, abs=0.01)
    assert sweep.noise_free.max() == pytest.approx(0.88 * 4.9, abs=0.01)


def test_a_lost_ground_lead_raises_the_reading():
    lead = LeadFault(wire="ground", rate_per_s=2.0)
    sweep = _sweep(sensor=TrackState(lead=lead))
    assert (sweep.dropouts.cause == "lead").all()
    assert (sweep.noise_free >= sweep.without_breaks).all()
    assert sweep.dropouts.visible.any()


def test_a_tugged_lead_breaks_near_one_place_one_way():
    lead = LeadFault(kind="tug", tug_pct=60.0, tug_spread_pct=2.0, chance_per_pass=1.0, burst=1.0)
    sweep = _sweep(sensor=TrackState(lead=lead), hand=HandMotion(passes=12))
    assert len(sweep.dropouts) >= 4
    assert (sweep.dropouts.direction == "opening").all()
    assert sweep.dropouts.travel_pct.between(50.0, 70.0).all()


def test_wandering_faults_have_nothing_to_do_with_travel():
    lead = LeadFault(kind="wander", rate_per_s=1.0, burst=1.0)
    hand = HandMotion(passes=40, pause_s=0.0)
    places = _sweep(sensor=TrackState(lead=lead), hand=hand, rate_hz=50.0).dropouts.travel_pct
    assert places.std() > 20.0


def test_a_slow_poll_hides_most_lift_offs():
    slow = _sweep(sensor=WORN, rate_hz=5.0)
    fast = _sweep(sensor=WORN, rate_hz=1000.0)
    assert slow.dropouts.visible.mean() < 0.3
    assert fast.dropouts.visible.mean() > 0.8


def test_the_percent_channel_moves_in_steps_of_one_count():
    sweep = _sweep(channel="percent", rate_hz=8.0)
    counts = sweep.signal * 255.0 / 100.0
    np.testing.assert_allclose(counts, np.round(counts), atol=0.02)
    assert sweep.signal.min() <= 0.5
    assert sweep.signal.max() >= 99.5


def test_an_open_wiper_reads_over_range_on_the_ohm_channel():
    band = replace(WORN.worn[0], lift_ohm=(1e6, 1e7), lift_s=(0.02, 0.03))
    sweep = _sweep(channel="ohm", sensor=replace(WORN, worn=(band,)))
    assert sweep.signal.max() == sweep.logger.meter_range_ohm


def test_rough_bands_raise_the_true_smoothness_without_drop_outs():
    band = WornBand(50.0, 5.0, rough_ohm=200.0)
    rough, sound = _sweep(sensor=TrackState(worn=(band,))), _sweep()
    assert rough.rough
    assert rough.dropouts.empty
    assert rough.smoothness_pct > 5.0 * sound.smoothness_pct


def test_the_second_track_and_the_travel_are_recorded_when_asked_for():
    second = TrackState(closed_fraction=0.06, open_fraction=0.44)
    sweep = _sweep(sensor=TrackState(second=second), record_travel=True)
    frame = sweep.frame("s-1")
    assert np.corrcoef(frame.signal, frame.signal_b)[0, 1] > 0.999
    assert frame.travel_pct.between(0.0, 100.0).all()
    assert _sweep().frame("s-2").travel_pct.isna().all()


def test_the_same_seed_gives_the_same_sweep():
    np.testing.assert_array_equal(_sweep(7, sensor=WORN).signal, _sweep(7, sensor=WORN).signal)


def test_nonsense_is_refused():
    with pytest.raises(ValueError, match="channel"):
        _sweep(channel="amps")
    with pytest.raises(ValueError, match="rate_hz"):
        _sweep(rate_hz=0.0)
    with pytest.raises(ValueError, match="pass"):
        _sweep(hand=HandMotion(passes=0))


def test_the_visible_threshold_is_35_mv_or_eight_sigma():
    assert visible_share("volt", Logger(noise_v=0.001)) == pytest.approx(0.035 / 5.0)
    coarse = Logger(noise_v=0.006, bits=16)
    assert visible_share("volt", coarse) == pytest.approx(8.0 * coarse.sigma_v / 5.0)
