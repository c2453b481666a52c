"""Bad recordings: each a named finding, never a crash, never a clean conclusion."""

import numpy as np
import pandas as pd
import pytest

from models.sweeps import schemas
from models.sweeps.measure import measure_one, measure_sweeps
from models.sweeps.samples import read_arrays
from tests.models.sweeps.synthetic import healthy, volts, worn


def said(results):
    row = results.measures.iloc[0]
    return row["conclusion"], set(results.findings["finding"])


def contexts(**how):
    row = dict.fromkeys(schemas.CONTEXTS.names)
    row |= {"session_id": "A", "sweep_channel": "volt", "supply_v": 5.0} | how
    return pd.DataFrame([row])


def samples(t, y):
    return pd.DataFrame({"session_id": "A", "sample_no": np.arange(t.size), "t_s": t, "signal": y})


@pytest.mark.parametrize("value", [np.nan, np.inf, -np.inf])
def test_unreadable_signals_are_counted_and_left_out(value):
    t, y, at = worn()
    y[100:110] = value
    results = measure_one(t, y, supply_v=5.0)
    name = "signal_blank" if np.isnan(value) else "signal_infinite"
    finding = results.findings.set_index("finding").loc[name]
    assert finding["count"] == 10
    assert finding["first_sample_no"] == 100
    assert results.dropouts["first_sample_no"].tolist() == at.tolist()
    assert results.measures.iloc[0]["usable_count"] == t.size - 10


def test_a_blank_channel_cannot_tell():
    t, y, _ = healthy()
    conclusion, names = said(measure_one(t, np.full_like(y, np.nan), supply_v=5.0))
    assert conclusion == "cannot_tell"
    assert {"signal_blank", "too_few_samples"} <= names


def test_a_constant_signal_cannot_tell():
    t, y, _ = healthy()
    conclusion, names = said(measure_one(t, np.full_like(y, 0.6), supply_v=5.0))
    assert conclusion == "cannot_tell"
    assert "constant_signal" in names


@pytest.mark.parametrize("n", [0, 1, 2, 19])
def test_too_few_samples_cannot_tell(n):
    t, y, _ = healthy()
    conclusion, names = said(measure_one(t[:n], y[:n], supply_v=5.0))
    assert conclusion == "cannot_tell"
    assert names & {"no_samples", "too_few_samples"}


def test_a_million_samples_are_measured():
    t, y, _ = healthy(rate_hz=5000.0)
    times = np.concatenate([t + k * (t[-1] + 1e-3) for k in range(11)])
    results = measure_one(times, np.tile(y, 11), supply_v=5.0)
    assert times.size > 1_000_000
    assert results.measures.iloc[0]["pass_count"] == 66


def test_backward_times_are_put_in_order_and_named():
    t, y, at = worn()
    order = np.arange(t.size)
    for place in range(50, t.size - 1, 300):
        order[[place, place + 1]] = order[[place + 1, place]]
    results = measure_one(t[order], y[order], supply_v=5.0)
    assert "time_backwards" in said(results)[1]
    found = order[results.dropouts["first_sample_no"].to_numpy(dtype=int)]
    assert found.tolist() == at.tolist()


def test_a_clock_that_starts_again_leaves_the_longest_stretch():
    t, y, _ = healthy()
    cut = t.size // 4
    results = measure_one(np.concatenate([t[cut:], t[:cut]]), np.roll(y, -cut), supply_v=5.0)
    assert {"time_backwards", "time_restarts"} <= said(results)[1]
    assert results.measures.iloc[0]["usable_count"] == t.size - cut


@pytest.mark.parametrize("every", [4, 12])
def test_many_swapped_neighbours_are_put_back(every):
    t, y, at = worn()
    order = np.arange(t.size)
    for place in range(50, t.size - 1, every):
        order[[place, place + 1]] = order[[place + 1, place]]
    results = measure_one(t[order], y[order], supply_v=5.0)
    assert "time_restarts" not in said(results)[1]
    found = order[results.dropouts["first_sample_no"].to_numpy(dtype=int)]
    assert found.tolist() == at.tolist()


def test_a_packet_that_came_late_is_put_back_whole():
    t, y, at = worn()
    order = np.concatenate(
        [np.arange(600), np.arange(664, 728), np.arange(600, 664), np.arange(728, t.size)]
    )
    results = measure_one(t[order], y[order], supply_v=5.0)
    assert "time_backwards" in said(results)[1]
    assert "time_restarts" not in said(results)[1]
    assert len(results.dropouts) == at.size


def test_a_clock_set_back_a_little_does_not_mix_two_stretches():
    t, y, _ = healthy()
    behind = np.arange(t.size) > 0.6 * t.size
    results = measure_one(t - 0.2 * behind, y, supply_v=5.0)
    assert "time_restarts" in said(results)[1]
    assert len(results.dropouts) == 0
    assert said(results)[0] in ("nothing_seen", "cannot_tell")


def test_reversed_time_never_crashes():
    t, y, _ = healthy()
    conclusion, names = said(measure_one(t[::-1], y, supply_v=5.0))
    assert conclusion == "cannot_tell"
    assert "time_backwards" in names


def test_repeated_samples_are_counted_once():
    t, y, at = worn()
    twice = np.sort(np.concatenate([np.arange(t.size), np.arange(0, t.size, 97)]))
    results = measure_one(t[twice], y[twice], supply_v=5.0)
    assert "time_repeated" in said(results)[1]
    assert len(results.dropouts) == at.size
    assert results.measures.iloc[0]["usable_count"] == t.size


def test_a_gap_is_named():
    t, y, _ = healthy()
    keep = (t < 5.0) | (t > 5.7)
    assert "gap" in said(measure_one(t[keep], y[keep], supply_v=5.0))[1]


@pytest.mark.parametrize(
    ("scale", "how", "name"),
    [
        (1000.0, {"channel": "volt", "supply_v": 5.0}, "unit_millivolts"),
        (0.001, {"channel": "ohm", "track_ohm": 5.0}, "unit_kilohms"),
        (0.001, {"channel": "ohm", "track_ohm": 5000.0}, "unit_kilohms"),
        (0.001, {"channel": "ohm"}, "unit_kilohms"),
        (0.2, {"channel": "percent"}, "unit_fraction"),
        (2.0, {"channel": "volt", "supply_v": 5.0}, "signal_above_supply"),
        (1.0, {"channel": "percent"}, None),
    ],
)
def test_a_wrong_unit_is_asked_about_and_never_rescaled(scale, how, name):
    t, y, _ = worn()
    signal = y * scale if how["channel"] != "ohm" else y * 1000.0 * scale
    results = measure_one(t, signal, **how)
    conclusion, names = said(results)
    assert conclusion != "nothing_seen"
    if name:
        assert conclusion == "cannot_tell"
        assert name in names
        assert len(results.dropouts) == 0


def test_an_impossible_supply_is_asked_about():
    t, y, _ = healthy()
    assert "supply_implausible" in said(measure_one(t, y, supply_v=503.0))[1]
    assert "supply_unknown" in said(measure_one(t, y))[1]


def test_swapped_leads_are_asked_about():
    t, y, _ = healthy()
    results = measure_sweeps(samples(t, y), contexts(output="falling"))
    assert "output_direction" in said(results)[1]
    assert (
        "output_direction" not in said(measure_sweeps(samples(t, y), contexts(output="rising")))[1]
    )


def test_a_contactless_part_makes_no_claim_of_wear():
    t, y, _ = worn()
    asked = contexts(kind="contactless", track_ohm=5e3, meter_load_ohm=1e5)
    results = measure_sweeps(samples(t, y), asked)
    row = results.measures.iloc[0]
    assert "contactless_part" in said(results)[1]
    assert row["fault_nature"] == "undecided"
    assert pd.isna(row["dropout_peak_travel_pct"])
    ohm = measure_sweeps(
        samples(t, 1000.0 * healthy()[1]),
        contexts(kind="contactless", sweep_channel="ohm", track_ohm=5000.0),
    )
    assert said(ohm)[0] == "cannot_tell"
    assert results.dropouts["contact_ohm"].isna().all()
    assert pd.isna(ohm.measures.iloc[0]["contact_variation_ohm"])


def test_a_clipped_recording_cannot_tell():
    t, y, _ = healthy(noise_v=0.003)
    conclusion, names = said(measure_one(t, np.minimum(y, 3.3), supply_v=5.0))
    assert "clipped" in names
    assert conclusion == "cannot_tell"


def test_an_unknown_channel_cannot_tell():
    t, y, _ = healthy()
    assert said(measure_sweeps(samples(t, y), contexts(sweep_channel=None)))[0] == "cannot_tell"


def test_samples_of_no_known_test_are_measured_with_a_finding():
    t, y, _ = healthy()
    results = measure_sweeps(samples(t, y), schemas.CONTEXTS.empty())
    assert said(results)[0] == "cannot_tell"
    assert "no_context" in said(results)[1]


def test_an_open_wiper_in_ohms_is_a_drop_out_though_the_meter_reads_infinite():
    t, _, travel = healthy()
    ohms = 600.0 + 38.0 * travel
    ohms[1000:1004] = np.inf
    results = measure_one(t, ohms, channel="ohm", track_ohm=5000.0)
    assert results.dropouts["first_sample_no"].tolist() == [1000]
    assert results.dropouts["departure"].tolist() == ["rose"]


def test_sessions_whose_rows_are_mixed_up_are_told_apart():
    t, y, at = worn()
    a = samples(t, y)
    b = samples(t, volts(healthy()[2], falling=True)).assign(session_id="B")
    mixed = pd.concat([a, b]).sort_values("t_s", kind="stable")
    both = pd.concat([contexts(), contexts(session_id="B", output="falling")])
    results = measure_sweeps(mixed, both)
    assert results.dropouts["session_id"].unique().tolist() == ["A"]
    assert results.dropouts["first_sample_no"].tolist() == at.tolist()


@pytest.mark.parametrize("bad", [np.nan, np.inf, -np.inf])
@pytest.mark.parametrize("place", [0, 1, 700, -1])
def test_one_unreadable_time_or_reading_is_marked_wherever_it_stands(bad, place):
    t, y, _ = healthy()
    for t_bad in (True, False):
        both = [t.copy(), y.copy(), t.copy() + 1.0, y.copy()]
        both[0 if t_bad else 1][place] = bad
        read = read_arrays(
            ["a", "b"],
            np.array([0, t.size, 2 * t.size]),
            t_s=np.concatenate(both[::2]),
            signal=np.concatenate(both[1::2]),
        )
        assert [r.usable_count for r in read.readings] == [t.size - 1, t.size]
        assert read.readings[0].marks
        assert not read.readings[1].marks
