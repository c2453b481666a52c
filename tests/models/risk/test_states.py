"""States: where they stand, between which a sensor stands, and what they hang on."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from models.risk.assumed import TEST_SENSITIVITY
from models.risk.now import defect_chances
from models.risk.states import (
    STEP,
    STEP_VIEW,
    WIDE_STEP,
    between_states,
    near_km,
    near_state,
    near_view,
    spread_keys,
)


@pytest.fixture(scope="module")
def known(wearing_records):
    sensors = wearing_records["sensors_now"]
    return sensors[sensors["age_now_km"].notna()].reset_index(drop=True)


def test_a_sensor_stands_between_its_two_states(known):
    view = np.ones(len(known))
    near = between_states(known, view)
    age = known["age_now_km"].to_numpy(float)
    ages = near.states[["age_now_km"]].to_numpy(float)
    assert np.allclose(near.drawn(ages)[:, 0], age)
    low, high = ages[near.low, 0], ages[near.high, 0]
    assert (low <= age + 1e-6).all()
    assert (age <= high + 1e-6).all()
    past = known[["entry_km", "good_km", "last_test_km"]].max(axis=1).fillna(0.0)
    assert (low >= past - 1e-9).all()
    since = age - past
    assert (high - low <= 2 * WIDE_STEP * np.hypot(high - past, 100.0)).all()
    assert (since[near.part == 0] < 1e-6).all()
    assert (near.part > 0).sum() > 20
    assert len(near.states) == len(known) + (near.part > 0).sum()


def test_states_stand_fast_while_a_bike_rides(known):
    """In 400 days at one pace a sensor passes as many states as there are steps in the km run."""
    days, pace = np.arange(400), 25.0
    began = pd.Timestamp("2025-03-01")
    riding = known.iloc[np.zeros(len(days), dtype=int)].reset_index(drop=True)
    riding = riding.assign(entry_km=0.0, good_km=1_000.0, last_test_km=1_000.0, km_per_day=pace)
    riding = riding.assign(entry_on=began, good_on=began, age_now_km=1_000.0 + pace * days)
    riding["contact_km"] = riding["age_now_km"]
    riding["now_on"] = began + pd.to_timedelta(days, unit="D")
    near = between_states(riding, np.ones(len(days)))
    keys = np.unique(spread_keys(near.states, near.in_view, None), axis=0)
    assert len(keys) == 2 + np.floor(np.arcsinh(pace * days[-1] / 100.0) / WIDE_STEP)
    of_state = (near.states["now_on"] - began).dt.days.to_numpy(float)
    assert np.abs(near.drawn(of_state[:, None])[:, 0] - days).max() <= 13


@pytest.mark.parametrize("km_per_day", [0.0, 1e-9, np.nan])
def test_a_bike_that_hardly_runs_is_told_by_a_day_near_today(known, km_per_day):
    now, began = pd.Timestamp("2026-03-01"), pd.Timestamp("2024-03-01")
    parked = known.assign(entry_on=began, good_on=pd.NaT, now_on=now, km_per_day=km_per_day)
    for states in (near_state(parked, np.ones(len(known)))[0], _between(parked)):
        assert (states["now_on"] - now).abs().max() <= pd.Timedelta(days=2 * 366 + 12)


def _between(sensors):
    return between_states(sensors, np.ones(len(sensors))).states


@given(st.floats(0, 1e5))
def test_a_state_is_near_itself_and_rounding_is_settled(km):
    there = near_km(np.array([km]))
    assert near_km(there) == pytest.approx(there)
    assert abs(there[0] - km) <= STEP * np.hypot(km, 100.0)
    assert abs(near_view(np.array([km / 1e5]))[0] - km / 1e5) <= STEP_VIEW / 2 + 1e-12


def test_what_has_happened_stays_where_it_was(known):
    moved, view = near_state(known, np.full(len(known), 0.33))
    for name in ("entry_km", "good_km", "last_test_km"):
        past = known[name].fillna(0.0)
        assert (moved["age_now_km"] >= past - 1e-9).all()
        assert moved[name].equals(known[name])
    today = known["contact_km"].eq(known["age_now_km"])
    assert moved["contact_km"][~today].equals(known["contact_km"][~today])
    assert moved["contact_km"][today].equals(moved["age_now_km"][today].rename("contact_km"))
    assert np.allclose(view, 0.3)


def test_it_does_not_matter_when_a_bike_in_view_was_last_heard_of(known, wearing_fit):
    earlier = known.assign(contact_km=0.5 * known["contact_km"])
    view = np.where(np.arange(len(known)) % 2, 1.0, 0.0)
    (one, _), (other, _) = (near_state(s, view) for s in (known, earlier))
    sure, past = view == 1.0, ["entry_km", "good_km", "last_test_km"]
    pd.testing.assert_frame_equal(one[sure], other[sure])
    assert (one["contact_km"] == one["age_now_km"])[sure].all()
    assert (one["age_now_km"] >= known[past].max(axis=1) - 1e-9).all()
    assert (one["contact_km"] != other["contact_km"])[~sure].any()
    how = {"sensitivity": TEST_SENSITIVITY, "horizons_km": (0.0, 5_000.0), "n_resamples": 0}
    chance, same = (
        defect_chances(wearing_fit.model, s, in_view=view, **how).chance for s in (known, earlier)
    )
    assert np.array_equal(chance[sure], same[sure])


def test_a_key_hangs_on_state_and_readings_and_on_nothing_else(wearing_records):
    sensors = wearing_records["sensors_now"].iloc[:30].reset_index(drop=True)
    readings, view = wearing_records["wear_readings"], np.full(30, 0.5)
    keys = spread_keys(sensors, view, readings)
    assert len(np.unique(keys, axis=0)) == len(sensors)
    renamed = sensors.assign(sensor_id="X", unit_id="Y")
    assert np.array_equal(spread_keys(renamed, view, readings), keys)
    other = sensors.copy()
    other.loc[3, "good_km"] = other.loc[3, "good_km"] + 1.0
    changed = (spread_keys(other, view, readings) != keys).any(axis=1)
    assert changed.sum() == (1 if pd.notna(sensors.loc[3, "good_km"]) else 0)
    life = readings["life_id"][readings["life_id"].isin(sensors["life_id"])].iloc[0]
    fewer = readings[readings["life_id"].ne(life)]
    changed = (spread_keys(sensors, view, fewer) != keys).any(axis=1)
    assert changed.sum() == sensors["life_id"].eq(life).sum() == 1
