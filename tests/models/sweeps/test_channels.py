"""Volt, ohm and percent, at any rate and with any clock: the same sensor gives the same answer."""

import numpy as np
import pytest

from models.simulate.divider import loaded_divider_v, two_wire_ohm
from models.sweeps.measure import measure_one
from tests.models.sweeps.synthetic import triangle_travel, volts, worn

TRACK_OHM = 5000.0


def in_ohms(travel, falling=False, noise_ohm=2.0, bow_ohm=0.0, lag_ohm=0.0):
    """Two-wire resistance from one end pin to the wiper, bowed, and lagging as it closes."""
    x = 0.12 + 0.76 * travel / 100.0
    ohms = two_wire_ohm(x, track_ohm=TRACK_OHM, contact_ohm=60.0, leads_ohm=0.3)
    ohms = ohms + bow_ohm * np.sin(np.pi * travel / 100.0)
    ohms = ohms + np.where(np.gradient(travel) < 0, lag_ohm, 0.0)
    noise = noise_ohm * np.random.default_rng(4).standard_normal(travel.size)
    return np.round((TRACK_OHM + 120.0 - ohms if falling else ohms) + noise)


@pytest.mark.parametrize("falling", [False, True])
def test_ohms_either_way_give_ends_linearity_and_hysteresis(falling):
    t, travel = triangle_travel()
    ohms = in_ohms(travel, falling, bow_ohm=50.0, lag_ohm=10.0)
    row = measure_one(t, ohms, channel="ohm", track_ohm=TRACK_OHM, travel_pct=travel)
    row = row.measures.iloc[0]
    ends = sorted([row["closed_output"], row["open_output"]], reverse=falling)
    low, high = 0.12 * TRACK_OHM + 60.3, 0.88 * TRACK_OHM + 60.3
    expected = (TRACK_OHM + 120 - low, TRACK_OHM + 120 - high) if falling else (low, high)
    assert ends == pytest.approx(expected, abs=12.0)
    assert row["linearity_independent_pct"] == pytest.approx(0.5, abs=0.15)
    assert row["linearity_terminal_pct"] == pytest.approx(1.0, abs=0.25)
    assert row["hysteresis_pct"] == pytest.approx(0.2, abs=0.03)
    assert (row["passes_opening"], row["passes_closing"]) == (3, 3)


@pytest.mark.parametrize("falling", [False, True])
def test_ohms_show_a_worn_spot_where_it_sits(falling):
    t, travel = triangle_travel()
    ohms = in_ohms(travel, falling)
    above = travel > 40.0
    for place in np.flatnonzero(above[1:] != above[:-1]) + 1:
        ohms[place : place + 2] = 20_000.0
    results = measure_one(t, ohms, channel="ohm", track_ohm=TRACK_OHM)
    assert len(results.dropouts) == 6
    assert results.dropouts["travel_pct"].to_numpy() == pytest.approx(40.0, abs=1.0)
    assert set(results.dropouts["departure"]) == {"rose"}
    assert results.measures.iloc[0]["fault_nature"] == "worn_track"


def test_a_percentage_gives_passes_and_ends_and_shows_long_faults_only_as_seen():
    t, travel = triangle_travel(rate_hz=50.0)
    percent = np.round(travel / 0.392) * 0.392
    percent[300:310] = 0.0
    results = measure_one(t, percent, channel="percent")
    row = results.measures.iloc[0]
    assert row["pass_count"] == 6
    assert row["open_output"] == pytest.approx(100.0, abs=0.5)
    assert row["conclusion"] == "dropouts_seen"
    assert results.dropouts["length_s"].iloc[0] == pytest.approx(0.2, abs=0.03)


@pytest.mark.parametrize("rate_hz", [2.0, 5.0, 10.0, 50.0, 100.0, 200.0, 500.0, 1000.0, 5000.0])
def test_at_any_rate_passes_are_counted_and_what_would_show_is_stated(rate_hz):
    t, travel = triangle_travel(rate_hz=rate_hz)
    row = measure_one(t, volts(travel), supply_v=5.0).measures.iloc[0]
    assert row["dropout_count"] == 0
    assert row["shortest_visible_ms"] == pytest.approx(1000.0 / rate_hz, rel=0.02)
    assert row["narrowest_visible_pct"] == pytest.approx(33.3 / rate_hz, rel=0.35)
    assert (row["conclusion"] == "nothing_seen") == (rate_hz >= 100.0)
    if rate_hz >= 5.0:
        assert row["pass_count"] == 6


@pytest.mark.parametrize("rate_hz", [100.0, 200.0, 1000.0, 5000.0])
def test_what_is_said_to_show_shows(rate_hz):
    """Drop-outs a little longer than the shortest and deeper than the least stated are all seen."""
    t, travel = triangle_travel(rate_hz=rate_hz)
    y = volts(travel)
    stated = measure_one(t, y, supply_v=5.0).measures.iloc[0]
    lasts_s = 1.02e-3 * stated["shortest_visible_ms"]
    depth_v = 1.3 * stated["least_visible_depth_pct"] * 5.0 / 100.0
    starts = np.random.default_rng(2).uniform(1.0, 2.6, 4) + np.array([0.0, 3.4, 6.8, 10.2])
    for start in starts:
        y[(t >= start) & (t < start + lasts_s)] -= depth_v
    results = measure_one(t, y, supply_v=5.0)
    found = results.dropouts["start_s"].to_numpy()
    assert np.abs(found[:, None] - starts).min(axis=0).max() <= 1.5 / rate_hz
    assert found.size == starts.size


def test_an_uneven_clock_changes_nothing_of_what_is_found():
    t, y, at = worn()
    shifted = t + 0.35 * 0.005 * np.random.default_rng(3).uniform(-1.0, 1.0, t.size)
    results = measure_one(shifted, y, supply_v=5.0)
    assert results.dropouts["first_sample_no"].tolist() == at.tolist()
    assert results.measures.iloc[0]["fault_nature"] == "worn_track"


@pytest.mark.parametrize("bits", [8, 10, 12, 16])
def test_any_converter_shows_a_worn_spot_at_its_depth(bits):
    t, y, at = worn(depth_v=0.8, step_v=5.12 / 2**bits)
    results = measure_one(t, y, supply_v=5.0)
    assert results.dropouts["first_sample_no"].tolist() == at.tolist()
    assert results.dropouts["depth_pct"].to_numpy() == pytest.approx(16.0, abs=0.8)


def test_contact_resistance_is_read_back_from_a_drop_out():
    t, travel = triangle_travel(rate_hz=1000.0)
    contact = np.zeros(t.size)
    contact[(travel > 60.0) & (travel < 60.3)] = 10_000.0
    y = loaded_divider_v(
        0.12 + 0.76 * travel / 100.0,
        supply_v=5.0,
        track_ohm=TRACK_OHM,
        load_ohm=1e5,
        contact_ohm=contact,
    )
    y = y + 0.001 * np.random.default_rng(6).standard_normal(t.size)
    known = {"track_ohm": TRACK_OHM, "meter_load_ohm": 1e5}
    found = measure_one(t, y, supply_v=5.0, **known).dropouts
    assert len(found) == 6
    assert found["contact_ohm"].to_numpy() == pytest.approx(10_000.0, rel=0.03)
    assert measure_one(t, y, supply_v=5.0).dropouts["contact_ohm"].isna().all()
    ohms = two_wire_ohm(
        0.12 + 0.76 * travel / 100.0, track_ohm=TRACK_OHM, contact_ohm=contact, leads_ohm=0.3
    )
    direct = measure_one(t, ohms, channel="ohm", track_ohm=TRACK_OHM).dropouts
    assert direct["contact_ohm"].to_numpy() == pytest.approx(10_000.0, rel=0.01)


def test_contact_resistance_variation_is_smoothness_in_ohms():
    t, travel = triangle_travel(rate_hz=1000.0)
    contact = 100.0 + 100.0 * np.sin(2 * np.pi * 4 * travel) * (np.abs(travel - 60.0) < 3.0)
    x = 0.12 + 0.76 * travel / 100.0
    y = loaded_divider_v(x, supply_v=5.0, track_ohm=TRACK_OHM, load_ohm=1e5, contact_ohm=contact)
    y = y + 2e-5 * np.random.default_rng(6).standard_normal(t.size)
    known = {"track_ohm": TRACK_OHM, "meter_load_ohm": 1e5}
    row = measure_one(t, y, supply_v=5.0, **known).measures.iloc[0]
    assert row["contact_variation_ohm"] == pytest.approx(200.0, rel=0.15)
    assert np.isnan(measure_one(t, y, supply_v=5.0).measures.iloc[0]["contact_variation_ohm"])
    ohms = two_wire_ohm(x, track_ohm=TRACK_OHM, contact_ohm=contact, leads_ohm=0.3)
    row = measure_one(t, ohms, channel="ohm", track_ohm=TRACK_OHM).measures.iloc[0]
    assert row["contact_variation_ohm"] == pytest.approx(200.0, rel=0.1)
