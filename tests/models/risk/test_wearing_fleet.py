"""The record-level simulator keeps its own rules."""

import numpy as np
import pandas as pd
import pytest

from models.risk.backtest import skill
from models.risk.schemas import CONTACT_GAPS, LIFE_WINDOWS, SENSORS_NOW, WEAR_READINGS
from tests.bench.risk_ceiling import HORIZONS_KM, informed_chances, true_ratio
from tests.bench.risk_rivals import boosting, cox_time_varying, weibull_interval
from tests.bench.risk_scores import BASE, INFORMED, OURS, scored, table
from tests.models.risk.wearing_fleet import simulate_wearing_fleet
from tests.models.risk.wearing_world import CURVES, SYMPTOMS, World, drawn_wear

#: Records without errors of the odometer, all tests perfect, every age known.
EXACT = World(
    wrong_odometer=0.0, rounded_odometer=0.0, sensitivity=1.1, share_unknown=0.0, blank_sweep=0.0
)


@pytest.fixture(scope="module")
def exact():
    return simulate_wearing_fleet(3_000, 5, EXACT)


def test_frames_fit_their_schemas():
    fleet = simulate_wearing_fleet(50, 1)
    LIFE_WINDOWS.check(fleet.windows)
    SENSORS_NOW.check(fleet.sensors_now)
    WEAR_READINGS.check(fleet.wear_readings)
    CONTACT_GAPS.check(fleet.contact_gaps)


def test_same_seed_same_records_other_seed_other_constants():
    one, same, other = (simulate_wearing_fleet(40, seed) for seed in (7, 7, 8))
    assert one.windows.equals(same.windows)
    assert one.wear_readings.equals(same.wear_readings)
    assert one.wear.rough_from != other.wear.rough_from


def test_defects_lie_in_their_windows_where_records_are_exact(exact):
    windows = exact.windows
    found = windows[windows["bad_km"].notna()]
    late = found["true_defect_km"] > found["entry_km"]  # the others were there at first sight
    assert len(found) > 500
    assert (found["true_defect_km"] <= found["bad_km"] + 2)[late].all()  # 1 km apart in the records
    assert (found["true_defect_km"] >= found["good_km"] - 2)[late].all()
    assert not late.all()


def test_a_found_sensor_is_followed_by_a_new_one(exact):
    windows = exact.windows
    found = windows["bad_km"].notna().sum()
    first = windows["life_id"].str.endswith("-0").sum()
    assert len(windows) == first + found
    assert (windows.loc[~windows["life_id"].str.endswith("-0"), "entry_km"] == 0).all()


@pytest.mark.parametrize("curve", CURVES)
def test_lives_follow_the_curve(curve):
    """Lives drawn at a ratio of 1 against the survivor function, at its own deciles."""
    wear = drawn_wear(World(curve=curve), 3)
    lives = wear.draw_lives(np.random.default_rng(1), np.ones(40_000))
    for age in np.quantile(lives, [0.02, 0.1, 0.3, 0.5, 0.7, 0.9]):
        share = (lives > age).mean()
        assert wear.survival(age, 1.0) == pytest.approx(share, abs=0.01)


def test_growth_and_its_integral_and_inverse_agree():
    wear = drawn_wear(World(), 2)
    defect = np.array([20_000.0, 70_000.0])
    age = np.linspace(0, 1, 4_001)[:, None] * defect
    steps = wear.growth((age[1:] + age[:-1]) / 2 / defect) * np.diff(age, axis=0)
    assert wear.growth_km(defect, defect) == pytest.approx(steps.sum(axis=0), rel=1e-5)
    there = wear.age_at_growth_km(wear.growth_km(0.9 * defect, defect), defect)
    assert there == pytest.approx(0.9 * defect, rel=1e-9)
    assert np.isinf(wear.age_at_growth_km(2 * wear.growth_km(defect, defect), defect)).all()


def test_readings_rise_from_the_floor_to_the_depth_at_the_defect(exact):
    readings, wear = exact.wear_readings, exact.wear
    defect = exact.windows["true_defect_km"].to_numpy()[readings["life"]]
    way = readings["read_km"].to_numpy() / defect
    sound, worn = readings["roughness_pct"][way < 0.4], readings["roughness_pct"][way >= 1.0]
    assert sound.median() == pytest.approx(wear.floor_pct, rel=0.03)
    assert worn.median() == pytest.approx(wear.floor_pct + wear.depth_pct, rel=0.1)


def test_half_of_the_tests_follow_symptoms_in_that_setting():
    fleet = simulate_wearing_fleet(3_000, 2, SYMPTOMS)
    assert fleet.wear_readings["prompted"].mean() == pytest.approx(0.5, abs=0.06)


def test_odometers_stay_in_order_whatever_is_written_wrong():
    fleet = simulate_wearing_fleet(500, 4, World(wrong_odometer=0.3, rounded_odometer=0.5))
    steps = fleet.wear_readings.groupby("life")["read_km"].diff().dropna()
    assert (steps > 0).all()
    now = fleet.sensors_now
    assert (now["age_now_km"] >= now["contact_km"] - 1e-6).all()


@pytest.fixture(scope="module")
def told():
    """Fleets of several settings, pooled, with the informed chances."""
    worlds = [World("early", "clear"), World("bathtub", delay_shape=1.6), SYMPTOMS]
    parts = []
    for seed, world in enumerate(worlds):
        fleet = simulate_wearing_fleet(600, 200 + seed, world)
        for readings in (True, False):
            chances = informed_chances(fleet, use_readings=readings)
            truth = fleet.sensors_now[["truly_defective", "truly_within_5000"]]
            parts.append(pd.concat([chances, truth], axis=1).assign(readings=readings))
    return pd.concat(parts, ignore_index=True)


@pytest.mark.parametrize(
    ("event", "truth"),
    [("defect_now", "truly_defective"), ("defect_5000_km", "truly_within_5000")],
)
def test_informed_chances_are_calibrated(told, event, truth):
    """Told the truth behind the records, chances must come out: within three standard errors."""
    some = told[told["readings"]]
    p, y = some[event].to_numpy(), some[truth].to_numpy(bool)
    assert abs(y.sum() - p.sum()) < 3 * np.sqrt((p * (1 - p)).sum())
    one = skill("informed", y, p, np.zeros(len(y)))
    information = (p * (1 - p) * np.log(p / (1 - p)) ** 2).sum()  # at most that of the slope
    assert abs(one.slope - 1) < max(5 / np.sqrt(information), 0.1)


def test_informed_chances_are_better_for_readings_and_rise_with_km_ahead(told):
    losses = {}
    for readings, some in told.groupby("readings"):
        p, y = some["defect_5000_km"].to_numpy(), some["truly_within_5000"].to_numpy(bool)
        losses[readings] = skill("", y, p, np.zeros(len(y))).log_loss
    assert losses[True] < losses[False]
    steps = np.diff(told[list(HORIZONS_KM)].to_numpy(), axis=1)
    assert (steps >= -1e-12).all()


def test_informed_chance_of_an_untested_sensor_is_that_of_its_curve():
    """No test, no reading, no other sensor, no defect ever heard of: 1 - S, frailty integrated out."""
    world = World("weibull", share_in_use=0.0, two_sensors=0.0, share_private=0.0, delay_km=1e12)
    fleet = simulate_wearing_fleet(400, 9, world)
    now, wear = fleet.sensors_now, fleet.wear
    alone = (now["life_id"].str.endswith("-0") & now["good_km"].isna()).to_numpy()
    assert alone.sum() >= 3
    ratio = true_ratio(fleet)[fleet.windows["life_id"].isin(now["life_id"][alone]).to_numpy()]
    age = now["age_now_km"].to_numpy()[alone] + 5_000
    survival = (1 + wear.cumulative(age) * ratio / wear.frailty_shape) ** -wear.frailty_shape
    chance = informed_chances(fleet, use_readings=False)["defect_5000_km"].to_numpy()[alone]
    assert chance == pytest.approx(1 - survival, rel=1e-3)


@pytest.mark.long
def test_table_puts_the_curve_at_nought_and_the_ceiling_at_one():
    scores = scored(World("early", "clear"), 150, [300, 301], with_rivals=False)
    result = table(scores, "defect_5000_km").set_index("who")
    assert result.loc[BASE, "skill"] == 0
    assert result.loc[INFORMED, "skill"] == 1
    assert result.loc[INFORMED, "top"] == 1
    assert result.loc[OURS, "skill"] > 0  # any use at all of tests and silence beats age alone


@pytest.mark.parametrize("rival", [cox_time_varying, weibull_interval, boosting])
def test_rivals_state_chances_that_rise_with_km_ahead(rival):
    fleet = simulate_wearing_fleet(300, 302)
    chances = rival(fleet)
    now, ahead = chances["defect_now"], chances["defect_5000_km"]
    assert now.shape == (len(fleet.sensors_now),)
    assert (now >= 0).all()
    assert (now <= ahead + 1e-9).all()
    assert (ahead <= 1).all()
