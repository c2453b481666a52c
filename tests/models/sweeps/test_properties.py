"""What must hold of any sweep."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from models.sweeps import schemas
from models.sweeps.measure import measure_one, measure_sweeps
from tests.models.sweeps.synthetic import triangle_travel, volts

FEW = settings(max_examples=12)
PLACES = st.lists(st.integers(30, 3800), min_size=1, max_size=6, unique=True)


def sweep(places, depth_v=0.7, falling=False, seed=0, travel=None):
    t, course = triangle_travel()
    y = volts(course if travel is None else travel, falling=falling, seed=seed)
    for place in places:
        y[place : place + 3] -= depth_v
    return t, y


def events(results, *columns):
    return results.dropouts[list(columns)].to_numpy(dtype=float)


@given(PLACES, st.floats(-1e5, 1e5))
@FEW
def test_a_shift_of_time_changes_nothing_but_the_times(places, shift):
    t, y = sweep(places)
    a, b = measure_one(t, y, supply_v=5.0), measure_one(t + shift, y, supply_v=5.0)
    assert a.measures["conclusion"].tolist() == b.measures["conclusion"].tolist()
    assert events(a, "first_sample_no", "last_sample_no").tolist() == (
        events(b, "first_sample_no", "last_sample_no").tolist()
    )


@given(PLACES, st.floats(0.75, 2.4))
@FEW
def test_output_follows_the_supply_and_nothing_else_changes(places, factor):
    t, y = sweep(places)
    a = measure_one(t, y, supply_v=5.0)
    b = measure_one(t, y * factor, supply_v=5.0 * factor)
    assert events(a, "first_sample_no").tolist() == events(b, "first_sample_no").tolist()
    assert events(a, "depth_pct") == pytest.approx(events(b, "depth_pct"), abs=1e-3)
    assert events(a, "travel_pct") == pytest.approx(events(b, "travel_pct"), abs=1e-2)


@given(PLACES)
@FEW
def test_a_falling_sensor_is_a_rising_one_mirrored(places):
    t, y = sweep(places)
    a = measure_one(t, y, supply_v=5.0, output="rising")
    b = measure_one(t, 5.0 - y, supply_v=5.0, output="falling")
    assert events(a, "first_sample_no").tolist() == events(b, "first_sample_no").tolist()
    assert events(a, "depth_pct") == pytest.approx(events(b, "depth_pct"), abs=1e-2)
    assert events(a, "travel_pct") == pytest.approx(events(b, "travel_pct"), abs=0.05)
    assert a.dropouts["direction"].tolist() == b.dropouts["direction"].tolist()
    assert set(a.dropouts["departure"]) <= {"fell"}
    assert set(b.dropouts["departure"]) <= {"rose"}


@given(PLACES)
@FEW
def test_an_untouched_pass_behind_it_removes_no_drop_out(places):
    t, y = sweep(places)
    more_t, travel = triangle_travel(passes=2)
    longer_t = np.concatenate([t, t[-1] + 0.005 + more_t])
    longer_y = np.concatenate([y, volts(travel, seed=9)])
    a, b = measure_one(t, y, supply_v=5.0), measure_one(longer_t, longer_y, supply_v=5.0)
    before = {tuple(r) for r in events(a, "first_sample_no", "last_sample_no")}
    assert before <= {tuple(r) for r in events(b, "first_sample_no", "last_sample_no")}


@given(st.permutations(list("ABCDE")))
@FEW
def test_the_order_of_the_sessions_changes_no_session(order):
    parts, rows = {}, []
    for k, name in enumerate("ABCDE"):
        t, y = sweep([500 + 100 * k], falling=k % 2 == 1, seed=k)
        parts[name] = pd.DataFrame(
            {"session_id": name, "sample_no": np.arange(t.size), "t_s": t, "signal": y}
        )
        rows.append(dict.fromkeys(schemas.CONTEXTS.names) | {"session_id": name})
    contexts = pd.DataFrame(rows).assign(sweep_channel="volt", supply_v=5.0)
    results = measure_sweeps(pd.concat([parts[n] for n in order]), contexts)
    alone = measure_sweeps(parts["C"], contexts[contexts["session_id"] == "C"])
    mine = results.measures.set_index("session_id").loc[["C"]]
    pd.testing.assert_frame_equal(mine, alone.measures.set_index("session_id"), rtol=1e-6)
    assert sorted(results.measures["session_id"]) == list("ABCDE")


ANY = st.floats(allow_nan=True, allow_infinity=True, width=64)


@given(
    st.lists(st.tuples(ANY, ANY), max_size=120),
    st.sampled_from(["volt", "ohm", "percent", None, "other"]),
    ANY,
    ANY,
)
@settings(max_examples=120)
@pytest.mark.filterwarnings("ignore:.*encountered.*:RuntimeWarning")
def test_no_numbers_whatever_crash_it_or_are_called_clean(rows, channel, supply_v, track_ohm):
    t = np.array([r[0] for r in rows], dtype=float)
    y = np.array([r[1] for r in rows], dtype=float)
    results = measure_one(t, y, channel=channel, supply_v=supply_v, track_ohm=track_ohm)
    assert len(results.measures) == 1
    assert results.measures.iloc[0]["conclusion"] != "nothing_seen"


@given(st.lists(ANY, min_size=200, max_size=200), st.integers(0, 3800))
@settings(max_examples=30)
@pytest.mark.filterwarnings("ignore:.*encountered.*:RuntimeWarning")
def test_garbage_within_a_sweep_never_crashes_it(values, place):
    t, y = sweep([place])
    y[place : place + 200] = values
    results = measure_one(t, y, supply_v=5.0, signal_b=y[::-1], travel_pct=100.0 * y)
    assert results.measures.iloc[0]["conclusion"] in (
        "dropouts_seen", "rough", "nothing_seen", "cannot_tell",
    )  # fmt: skip
