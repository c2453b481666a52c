"""The simulated records keep the intake contract, and agree with their truth."""

import datetime as dt
import re

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from models.simulate.shops import simulate_shops
from models.simulate.world import AS_OF, DUTIES, GROUPS, PARTS
from pipeline.intake.contract import TABLES

KEY_SHAPE = re.compile(r"[A-Za-z0-9._-]{1,64}")
SMALL = settings(max_examples=12)
SEEDS = st.integers(0, 2**31)


def _small(seed, n_bikes=30):
    return simulate_shops(seed, n_bikes=n_bikes, sweeps=False, mistakes=False)


def _dates(column):
    return pd.to_datetime(column)


def _tests_with_day(shops):
    tests = shops.tables["test_sessions"]
    return tests.assign(day=pd.to_datetime(tests["tested_at"].str[:10]))


@given(SEEDS)
@SMALL
def test_every_table_keeps_the_contract(seed):
    for name, frame in _small(seed).tables.items():
        table = TABLES[name]
        assert list(frame.columns) == [c for c in table.names if c in frame.columns]
        assert not frame[table.required].isna().any().any()
        assert not frame.duplicated(list(table.key)).any()
        for field in table.fields:
            if field.name not in frame.columns:
                continue
            values = frame[field.name].dropna()
            if field.kind == "id":
                assert values.map(lambda key: bool(KEY_SHAPE.fullmatch(key))).all()
            if field.kind == "word":
                assert values.isin(field.words).all()
            if field.kind in ("number", "whole"):
                assert (values >= (-np.inf if field.low is None else field.low)).all()
                assert (values <= (np.inf if field.high is None else field.high)).all()
            if field.kind == "codes":
                assert values.str.fullmatch(r"P\d{4}( P\d{4})*").all()


@given(SEEDS)
@SMALL
def test_every_named_parent_is_there(seed):
    tables = _small(seed).tables
    for name, frame in tables.items():
        for field in TABLES[name].fields:
            if field.parent and field.name in frame.columns:
                parents = tables[field.parent][TABLES[field.parent].key[0]]
                assert frame[field.name].dropna().isin(parents).all(), (name, field.name)


@given(SEEDS)
@SMALL
def test_no_odometer_runs_backwards(seed):
    shops = _small(seed)
    sensors = shops.tables["sensors"].set_index("sensor_id")["unit_id"]
    tests, repairs = _tests_with_day(shops), shops.tables["repair_outcomes"]
    readings = pd.concat(
        [
            shops.tables["odometer"].rename(columns={"read_on": "day"}),
            tests.assign(unit_id=tests["sensor_id"].map(sensors)),
            repairs.assign(unit_id=repairs["sensor_id"].map(sensors), day=repairs["closed_on"]),
        ]
    )[["unit_id", "day", "odometer_km"]]
    readings["day"] = pd.to_datetime(readings["day"])
    readings = readings.sort_values(["unit_id", "day", "odometer_km"])
    per_day = readings.groupby(["unit_id", "day"])["odometer_km"].agg(["min", "max"])
    assert (per_day["min"] == per_day["max"]).all()
    assert (per_day["max"].groupby("unit_id").diff().dropna() >= 0).all()


@given(SEEDS)
@SMALL
def test_dates_follow_one_another(seed):
    shops = _small(seed)
    sensors, repairs = shops.tables["sensors"], shops.tables["repair_outcomes"]
    removed = sensors["removed_on"].notna()
    assert (
        _dates(sensors["first_seen_on"]) >= _dates(sensors["fitted_on"].fillna(dt.date(1990, 1, 1)))
    ).all()
    assert (_dates(sensors["removed_on"]) >= _dates(sensors["first_seen_on"]))[removed].all()
    assert (sensors["removed_km"] >= sensors["first_seen_km"])[removed].all()
    assert (sensors["first_seen_km"] >= sensors["fitted_km"].fillna(0)).all()
    assert sensors["removed_reason"].notna().equals(removed)
    of_sensor = _tests_with_day(shops).merge(sensors, on="sensor_id")
    assert (of_sensor["day"] >= _dates(of_sensor["first_seen_on"])).all()
    late = _dates(of_sensor["removed_on"].fillna(AS_OF))
    assert (of_sensor["day"] <= late).all()
    closed = _dates(repairs["closed_on"])
    tested = repairs["session_id"].map(_tests_with_day(shops).set_index("session_id")["day"])
    assert (closed >= tested).all()
    assert (closed <= pd.Timestamp(AS_OF)).all()
    failed = repairs["failed_on"].notna()
    assert (_dates(repairs["failed_on"]) <= tested)[failed].all()
    assert (repairs["failed_km"] <= repairs["odometer_km"]).fillna(True).all()
    assert repairs.loc[failed, "on_road"].eq("yes").all()


@given(SEEDS)
@SMALL
def test_a_replaced_sensor_is_followed_by_a_new_one_at_once(seed):
    tables = _small(seed).tables
    sensors, repairs = tables["sensors"], tables["repair_outcomes"]
    replaced = repairs[repairs["action"] == "sensor_replaced"].merge(sensors, on="sensor_id")
    assert (replaced["removed_on"] == replaced["closed_on"]).all()
    assert (replaced["removed_km"] == replaced["odometer_km"]).all()
    here = sensors[sensors["origin"] == "fitted_here"]
    assert len(here) == len(replaced)
    joined = replaced.merge(
        here, left_on=["unit_id", "mount", "closed_on"], right_on=["unit_id", "mount", "fitted_on"]
    )
    assert len(joined) == len(here)
    in_service = sensors[sensors["removed_on"].isna()]
    assert not in_service.duplicated(["unit_id", "mount"]).any()
    models = tables["units"].set_index("unit_id")["model_code"]
    fits = set(map(tuple, tables["fitments"].to_numpy()))
    assert (
        set(zip(sensors["part_no"], sensors["unit_id"].map(models), sensors["mount"], strict=True))
        <= fits
    )


@given(SEEDS)
@SMALL
def test_truth_and_tables_tell_one_story(seed):
    shops = _small(seed)
    spells, sessions = shops.truth["spells"], shops.truth["sessions"]
    tests = shops.tables["test_sessions"].merge(
        sessions.drop(columns=["sensor_id", "shop_id"]), on="session_id"
    )
    joined = tests.merge(spells, on=["sensor_id", "spell_no"])
    assert len(joined) == len(tests)
    km = joined["odometer_km"]
    onset = joined["defect_onset_km"].astype(float).fillna(np.inf)
    assert joined["defective"].equals(km >= onset)
    assert (km >= np.floor(joined["entry_km"])).all()
    assert (km <= joined["end_km"] + 1.0).all()
    assert (spells["road_failure_km"].astype(float) >= spells["defect_onset_km"].astype(float))[
        spells["defect_onset_km"].notna()
    ].all()
    confirmed = shops.tables["repair_outcomes"].query("fault_confirmed == 'yes'")
    assert confirmed["session_id"].isin(sessions.loc[sessions["defective"], "session_id"]).all()
    contactless = [name for name, part in PARTS.items() if not part.wears]
    of_part = spells["sensor_id"].map(shops.tables["sensors"].set_index("sensor_id")["part_no"])
    assert spells.loc[of_part.isin(contactless), "defect_onset_km"].isna().all()


@given(SEEDS)
@SMALL
def test_static_readings_fit_the_part(seed):
    tables = _small(seed).tables
    sensors = tables["sensors"].merge(tables["parts"], on="part_no")
    tests = tables["test_sessions"].merge(sensors, on="sensor_id")
    both = tests[tests["closed_v"].notna() & tests["open_v"].notna()]
    assert ((both["open_v"] > both["closed_v"]) == both["output"].eq("rising")).all()
    measured = tests[tests["track_ohm"].notna()]
    assert measured["kind"].eq("potentiometer").all()
    assert (
        (measured["open_ohm"] > measured["closed_ohm"]) == measured["output"].eq("rising")
    ).all()
    assert (measured["track_ohm"] > measured[["open_ohm", "closed_ohm"]].max(axis=1)).all()
    assert (tests["supply_v"] - tests["supply_to_ground_v"] > -0.03).all()
    unplugged = tests["unplugged_key_on"].eq("yes") & tests["fault_codes"].notna()
    assert tests.loc[unplugged, "fault_codes"].str.contains("P0122|P0123|P012").all()


def test_the_same_seed_gives_the_same_records_and_another_seed_does_not():
    first, again, other = _small(5), _small(5), _small(6)
    for name, frame in first.tables.items():
        pd.testing.assert_frame_equal(frame, again.tables[name])
    assert not first.tables["odometer"].equals(other.tables["odometer"])


def test_recording_sweeps_changes_no_other_table():
    with_sweeps = simulate_shops(3, n_bikes=4, mistakes=False)
    without = simulate_shops(3, n_bikes=4, sweeps=False, mistakes=False)
    for name, frame in without.tables.items():
        pd.testing.assert_frame_equal(frame, with_sweeps.tables[name])
    sweeps, truth = with_sweeps.tables["sweeps"], with_sweeps.truth
    told = with_sweeps.tables["test_sessions"].set_index("session_id")["sweep_channel"].dropna()
    assert set(sweeps["session_id"]) == set(told.index)
    counted = sweeps.groupby("session_id").size()
    assert truth["sweeps"].set_index("session_id")["samples"].eq(counted).all()
    assert set(truth["dropouts"]["session_id"]) <= set(told.index)
    worn = truth["dropouts"].query("cause == 'worn'")["session_id"]
    defective = truth["sessions"].query("defective")["session_id"]
    assert worn.isin(defective).all()


def test_wear_gathers_where_the_duty_holds_the_throttle():
    shops = _small(1, n_bikes=600)
    spells = shops.truth["spells"].merge(shops.truth["bikes"], on="unit_id")
    middle = spells.groupby("duty")["worn_centre_pct"].median()
    assert middle["training"] < middle["commute"] < middle["tour"]
    weights = {d: sum(w for w, _, _ in DUTIES[d].holds) for d in DUTIES}
    assert all(total == pytest.approx(1.0) for total in weights.values())


def test_hard_duty_wears_sooner_and_early_failures_bend_the_curve():
    shops = _small(2, n_bikes=1500)
    spells = shops.truth["spells"].merge(shops.truth["bikes"], on="unit_id")
    new = spells[spells["spell_no"].eq(0) & spells["defect_onset_km"].notna()]
    life = (new["defect_onset_km"] - new["start_km"]).astype(float)
    by_duty = life[~new["early_weak"]].groupby(new["duty"]).median()
    assert by_duty["training"] < by_duty["commute"] < by_duty["tour"]
    early = life[new["early_weak"]]
    assert early.median() < 0.4 * life.median()
    assert 0.02 < new["early_weak"].mean() < 0.12


def test_the_population_has_the_cases_the_risk_model_must_handle():
    shops = _small(20261031, n_bikes=160)
    sensors, repairs = shops.tables["sensors"], shops.tables["repair_outcomes"]
    tests = shops.tables["test_sessions"]
    assert 1000 <= len(tests) <= 1200
    confirmed = repairs[
        repairs["fault_confirmed"].eq("yes")
        & repairs["action"].isin(["sensor_replaced", "sensor_cleaned"])
    ]
    assert len(confirmed) >= 75
    assert confirmed["on_road"].eq("yes").sum() >= 25
    assert set(sensors["origin"]) == {"original", "unknown", "fitted_here"}
    assert {"faulty", "preventive", "bike_gone"} <= set(sensors["removed_reason"].dropna())
    assert set(tests["reason"]) == {
        "routine", "symptom", "called_in", "after_repair", "first_visit",
    }  # fmt: skip
    assert {"sensor_cleaned", "no_fault_found", "connector_repaired", "wiring_repaired"} <= set(
        repairs["action"]
    )
    assert repairs["fault_confirmed"].isna().any()
    assert repairs.loc[repairs["on_road"].eq("yes"), "failed_km"].isna().any()
    assert (shops.truth["bikes"]["gone"] == "lost").any()
    assert (tests["fault_codes"].notna() & tests["unplugged_key_on"].eq("yes")).any()
    assert len({group.shop_id for group in GROUPS}) == len(shops.tables["shops"]) == 4
    assert shops.tables["calendar"]["free_from"].min() > AS_OF


def test_few_sensors_in_service_have_an_old_odometer_reading_and_lost_bikes_all_have():
    shops = _small(20261031, n_bikes=160)
    read = _dates(shops.tables["odometer"].groupby("unit_id")["read_on"].max())
    sensors = shops.tables["sensors"].query("removed_on.isna()")
    old = (pd.Timestamp(AS_OF) - sensors["unit_id"].map(read)).dt.days > 120
    assert 0.08 <= old.mean() <= 0.15
    units = shops.tables["units"].set_index("unit_id")["fleet_id"]
    assert not old[sensors["unit_id"].map(units).notna()].any()
    lost = shops.truth["bikes"].query("gone == 'lost' and last_in_view_on < @dt.date(2026, 6, 1)")
    assert len(lost) >= 5
    assert old[sensors["unit_id"].isin(lost["unit_id"])].all()


def test_planted_mistakes_are_the_only_difference_and_are_all_listed():
    plain = simulate_shops(20261031, sweeps=False, mistakes=False).tables
    slipped = simulate_shops(20261031, sweeps=False)
    listed = slipped.truth["mistakes"]
    assert 8 <= listed["expected"].isin(["set_aside", "waits", "cell_blank"]).sum() <= 15
    assert set(listed["expected"]) == {
        "set_aside", "waits", "cell_blank", "accepted", "retracted",
    }  # fmt: skip
    for name, frame in plain.items():
        wrong = slipped.tables[name]
        cells = listed[listed["table"].eq(name) & ~listed["expected"].eq("retracted")]
        rows = wrong.iloc[: len(frame)] if name != "odometer" else _without_second(wrong)
        changed = frame.astype(object).fillna("") != rows.astype(object).fillna("").to_numpy()
        expected = 0 if name == "odometer" else len(cells)
        assert int(changed.to_numpy().sum()) == expected, name
    assert len(slipped.tables["odometer"]) == len(plain["odometer"]) + 1
    assert len(slipped.tables["repair_outcomes"]) == len(plain["repair_outcomes"]) + 1
    assert len(slipped.tables["retract"]) == 1


def _without_second(odometer):
    return odometer[~odometer.duplicated(["unit_id", "read_on"])]


@pytest.mark.parametrize("n_bikes", [1, 2, 7])
def test_tiny_scenarios_work_mistakes_and_all(n_bikes):
    shops = simulate_shops(1, n_bikes=n_bikes, sweeps=False)
    assert len(shops.tables["units"]) == n_bikes


def test_no_bikes_is_refused():
    with pytest.raises(ValueError, match="n_bikes"):
        simulate_shops(1, n_bikes=0)


def test_a_tested_moment_is_iso_8601_with_an_offset():
    for text in _small(9).tables["test_sessions"]["tested_at"]:
        assert dt.datetime.fromisoformat(text).utcoffset() is not None
