import numpy as np
import pandas as pd
import pytest

from models.frames import FrameError
from models.sweeps import schemas
from models.sweeps.measure import (
    MEASURE_VERSION,
    measure_arrays,
    measure_one,
    measure_sweeps,
)
from tests.models.sweeps.synthetic import healthy, worn


def row(results):
    return results.measures.iloc[0]


def named(results):
    return set(results.findings["finding"])


def test_a_worn_spot_is_found_on_every_pass_and_called_worn():
    t, y, at = worn()
    results = measure_one(t, y, supply_v=5.0)
    assert row(results)["conclusion"] == "dropouts_seen"
    assert row(results)["fault_nature"] == "worn_track"
    assert results.dropouts["first_sample_no"].tolist() == at.tolist()
    assert results.dropouts["travel_pct"].to_numpy() == pytest.approx(40.0, abs=1.0)
    assert results.dropouts["depth_pct"].to_numpy() == pytest.approx(16.0, abs=0.6)
    assert results.dropouts["length_s"].to_numpy() == pytest.approx(0.010, abs=1e-9)
    assert results.dropouts["direction"].tolist() == ["opening", "closing"] * 3


def test_a_healthy_sweep_shows_nothing_and_is_not_called_good():
    t, y, _ = healthy()
    results = measure_one(t, y, supply_v=5.0)
    assert row(results)["conclusion"] == "nothing_seen"
    assert row(results)["fault_nature"] == "none"
    assert row(results)["pass_count"] == 6
    assert row(results)["passes_opening"] == 3
    assert row(results)["closed_output"] == pytest.approx(0.60, abs=0.005)
    assert row(results)["open_output"] == pytest.approx(4.40, abs=0.005)
    assert row(results)["shortest_visible_ms"] == pytest.approx(5.0)
    assert len(results.dropouts) == 0
    assert len(results.profile) == 50


@pytest.mark.parametrize("rate_hz", [2.0, 5.0, 10.0, 20.0])
def test_a_slow_log_never_yields_nothing_seen(rate_hz):
    t, y, _ = healthy(rate_hz)
    results = measure_one(t, y, supply_v=5.0)
    assert row(results)["conclusion"] == "cannot_tell"
    assert "200" in row(results)["advice"]


def test_a_polled_percentage_never_yields_nothing_seen():
    t, _, travel = healthy(200.0)
    results = measure_one(t, travel, channel="percent")
    assert row(results)["conclusion"] == "cannot_tell"
    assert "polled_percentage" in named(results)


def test_frames_go_out_as_declared_and_every_session_has_a_row():
    t, y, _ = healthy()
    samples = pd.DataFrame(
        {"session_id": "A", "sample_no": np.arange(t.size), "t_s": t, "signal": y}
    )
    contexts = pd.DataFrame(
        {
            "session_id": ["A", "B"],
            "sweep_channel": "volt",
            "supply_v": 5.0,
            "output": "rising",
            "kind": "potentiometer",
            "tracks": 1,
            "meter_load_ohm": 1e5,
            "track_ohm": 5e3,
        }
    )
    results = measure_sweeps(samples, contexts)
    assert sorted(results.measures["session_id"]) == ["A", "B"]
    assert list(results.measures.columns) == schemas.MEASURES.names
    assert "no_samples" in named(results)
    assert MEASURE_VERSION


def test_a_missing_column_is_named():
    with pytest.raises(FrameError, match="signal"):
        measure_sweeps(
            pd.DataFrame({"session_id": ["A"], "sample_no": [0], "t_s": [0.0]}),
            schemas.CONTEXTS.empty(),
        )


def test_arrays_measure_as_the_frame_of_the_same_samples_does():
    sweeps = {"A": worn()[:2], "B": (healthy()[0], 4_000.0 + 300.0 * healthy()[1])}
    sweeps["B"][1][900:904] = np.inf
    sweeps["A"][0][700] = np.nan
    t_s, signal = (np.concatenate(values) for values in zip(*sweeps.values(), strict=True))
    size = sweeps["A"][0].size
    columns = {"sample_no": np.tile(np.arange(size), 2), "t_s": t_s, "signal": signal}
    blank = {"signal_b": np.full(2 * size, np.nan), "travel_pct": np.full(2 * size, np.nan)}
    frame = pd.DataFrame({"session_id": np.repeat(["A", "B"], size), **columns, **blank})
    contexts = schemas.CONTEXTS.empty().reindex(range(3))
    contexts = contexts.assign(session_id=["A", "B", "C"], sweep_channel=["volt", "ohm", "volt"])
    found = measure_arrays(["A", "B"], np.array([0, size, 2 * size]), contexts, **columns, **blank)
    wanted = measure_sweeps(frame, contexts)
    assert wanted.dropouts["session_id"].unique().tolist() == ["A", "B"]
    for name, rows in vars(wanted).items():
        pd.testing.assert_frame_equal(getattr(found, name), rows, check_exact=True)


def test_a_sweep_measures_the_same_whatever_is_measured_beside_it():
    sweeps = {}
    for number in range(12):
        made = worn(seed=number) if number % 3 else healthy(seed=number)
        sweeps[f"S{number:02d}"] = made[:2]
    frame = pd.concat(
        pd.DataFrame(
            {
                "session_id": name,
                "sample_no": np.arange(t_s.size),
                "t_s": t_s,
                "signal": signal,
                "signal_b": np.nan,
                "travel_pct": np.nan,
            }
        )
        for name, (t_s, signal) in sweeps.items()
    )
    contexts = schemas.CONTEXTS.empty().reindex(range(len(sweeps)))
    contexts = contexts.assign(session_id=list(sweeps), sweep_channel="volt")
    together = measure_sweeps(frame, contexts)
    alone = [
        measure_sweeps(own, contexts[contexts["session_id"] == name])
        for name, own in frame.groupby("session_id")
    ]
    for name, rows in vars(together).items():
        apart = pd.concat([getattr(one, name) for one in alone], ignore_index=True)
        pd.testing.assert_frame_equal(apart, rows, check_exact=True)
