"""Season of the km: its mean over days, what the fit learns of it, and how chances follow it."""

from __future__ import annotations

from functools import partial

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from models.risk.assumed import SEASON_SD
from models.risk.expectation import Records
from models.risk.explain import SEASON, explain_risk
from models.risk.fit import fit_risk
from models.risk.hazard import DefectHazard
from models.risk.lives import checked_lives, rows_of
from models.risk.now import defect_chances, drawn_chances
from models.risk.outlook import defects_ahead
from models.risk.score import fit_and_score
from models.risk.season import calendar_now, calendar_of_lives
from models.risk.season_fit import scaled_season
from models.risk.states import near_state
from tests.models.risk.published_lives import lives
from tests.models.risk.simulated_fleet import simulate
from tests.models.risk.wearing_fleet import simulate_wearing_fleet
from tests.models.risk.wearing_world import World

DATES = ["entry_on", "good_on", "end_on"]
#: At 30 km a day, of a life from 15 January 2020 to 15 January 2022.
LIFE = {
    **{"entry_km": 0.0, "good_km": 10_957.5, "end_km": 21_930.0, "km_per_day": 30.0},
    **{"entry_on": "2020-01-15", "good_on": "2021-01-14", "end_on": "2022-01-15"},
}
_YEAR_KM = 30 * 365.25


def _life(**changed) -> pd.DataFrame:
    frame = pd.DataFrame([LIFE | changed])
    return frame.assign(**{name: pd.to_datetime(frame[name]) for name in DATES})


def _season(frame: pd.DataFrame, low: float, high: float, pace: float = 0.0) -> float:
    calendar = calendar_of_lives(frame, pace)
    return float(calendar.season(np.array([0]), np.array([low]), np.array([high]))[0])


def test_the_season_is_the_mean_cosine_over_the_days_of_a_stretch():
    assert _season(_life(), 0.0, 0.0) == pytest.approx(1.0, abs=1e-3)
    assert _season(_life(), _YEAR_KM / 2, _YEAR_KM / 2) == pytest.approx(-1.0, abs=1e-3)
    assert _season(_life(), _YEAR_KM / 4, _YEAR_KM / 2) == pytest.approx(-2 / np.pi, abs=0.01)
    days = np.cos(2 * np.pi * np.arange(0.5, 100) / 365.25).mean()
    assert _season(_life(), 0.0, 3_000.0) == pytest.approx(days, abs=0.01)


@given(st.floats(0, 1e5), st.integers(1, 6))
def test_whole_years_have_no_season(low, years):
    frame = _life(good_km=np.nan, end_km=np.nan)
    assert _season(frame, low, low + years * _YEAR_KM) == pytest.approx(0.0, abs=1e-9)


@given(st.floats(-2e4, 6e4), st.floats(1, 3e4), st.floats(0.05, 0.95))
def test_parts_of_a_stretch_add_up_to_it_by_days(low, km, part):
    frame, cut, high = _life(), low + part * km, low + km
    calendar = calendar_of_lives(frame, 0.0)
    day = calendar.day_at(np.zeros(3, dtype=int), np.array([low, cut, high]))
    assert (np.diff(day) >= 0).all()
    parts = np.array([_season(frame, low, cut), _season(frame, cut, high)])
    whole = _season(frame, low, high)
    assert parts @ np.diff(day) == pytest.approx(whole * (day[2] - day[0]), abs=1e-4)


def test_what_is_not_dated_or_not_ridden_as_known_has_no_season():
    assert calendar_of_lives(_life().drop(columns=DATES), 30.0) is None
    blank = _life(entry_on=None, good_on=None, end_on=None)
    assert calendar_of_lives(blank, 30.0) is None
    both = pd.concat([_life(), blank], ignore_index=True)
    calendar = calendar_of_lives(both, 30.0)
    assert calendar.season(np.array([1]), np.array([0.0]), np.array([100.0])) == 0.0
    unknown = _life(km_per_day=np.nan)
    assert abs(_season(unknown, 30_000.0, 31_000.0)) < 1e-2
    assert _season(unknown, 30_000.0, 31_000.0, 30.0) == _season(_life(), 30_000.0, 31_000.0)


def test_one_date_is_carried_on_at_the_bike_s_km_a_day_and_records_out_of_order_do_not_turn_back():
    one = _life(good_on=None, end_on=None)
    assert _season(one, _YEAR_KM / 2, _YEAR_KM / 2) == pytest.approx(-1.0, abs=1e-3)
    wrong = calendar_of_lives(_life(good_on="2019-01-01"), 0.0)
    day = wrong.day_at(np.zeros(50, dtype=int), np.linspace(-1e4, 4e4, 50))
    assert (np.diff(day) >= 0).all()


def test_scores_and_information_are_slopes_of_the_log_likelihood():
    fleet = simulate_wearing_fleet(60, 3, World(season=0.4))
    model = DefectHazard().fit(fleet.windows)
    lives = checked_lives(fleet.windows.query("not bad_km <= entry_km"))
    exact = lives["bad_km"].notna() & (np.arange(len(lives)) % 3 == 0)
    lives["good_km"] = lives["good_km"].where(~exact, lives["bad_km"])
    rows = rows_of(lives, model.entry_ages_)
    season = scaled_season(lives, rows, 30.0, SEASON_SD)
    edges = np.linspace(0.0, 2e5, 90)
    records = Records(rows, np.zeros(len(rows.life), dtype=int), edges, season)
    hazard = 2e-5 * (1 + records.pair_cell / 40)

    def told(coef):
        records.set_season(coef)
        return records._log_chance(hazard), records.season_scores(hazard)

    (low, score_low), (high, score_high) = told(0.499), told(0.501)
    _, score = told(0.5)
    assert score == pytest.approx((high - low) / 0.002, abs=1e-5)
    weight = np.ones(len(score))
    bend = records.information(hazard, np.zeros((len(hazard), 0)), weight)[0, 0]
    assert bend == pytest.approx(-(score_high - score_low).sum() / 0.002, rel=1e-5)
    ones = np.ones((len(hazard), 1))
    both = records.information(hazard, ones, weight)
    step = hazard * np.exp(0.001)
    across = -(records.season_scores(step) - score).sum() / 0.001
    assert both[0, 1] == pytest.approx(both[1, 0], rel=1e-14)
    assert both[0, 1] == pytest.approx(across, rel=0.01)


def test_a_record_without_a_km_known_to_be_without_the_defect_has_scores_too():
    window = lives(np.zeros(1), np.zeros(1), np.array([5_000.0]))
    dates = {"good_on": "2020-01-15", "end_on": "2020-07-01", "entry_on": "2020-01-15"}
    dated = checked_lives(window.assign(**{k: pd.Timestamp(v) for k, v in dates.items()}))
    rows = rows_of(dated, np.array([0.0]))
    season = scaled_season(dated, rows, 30.0, SEASON_SD)
    records = Records(rows, np.zeros(1, dtype=int), np.linspace(0.0, 5_000.0, 11), season)
    records.set_season(0.5)
    low, high = _log_chance(records, 0.499), _log_chance(records, 0.501)
    records.set_season(0.5)
    score = records.season_scores(np.full(10, 1e-4))
    assert score == pytest.approx((high - low) / 0.002, rel=1e-3)
    assert DefectHazard().fit(dated).n_season_ == 1


def _log_chance(records: Records, coef: float) -> np.ndarray:
    records.set_season(coef)
    return records._log_chance(np.full(10, 1e-4))


@pytest.fixture(scope="module")
def fleets():
    """By effect: the fleet, its fit, and the fit to the same records without their dates."""
    made = {}
    for effect in (0.6, 0.0, -0.6):
        fleet = simulate_wearing_fleet(800, 11, World(season=effect))
        model = DefectHazard(sensitivity=0.9)
        undated = fleet.windows.drop(columns=DATES)
        made[effect] = fleet, model.fit(fleet.windows), DefectHazard(sensitivity=0.9).fit(undated)
    return made


@pytest.mark.parametrize("effect", [0.6, 0.0, -0.6])
def test_a_planted_season_is_learned_and_none_where_none_is(fleets, effect):
    """Less than nought is what the same cold half of the year looks like south of the equator."""
    _, model, undated = fleets[effect]
    learned = model.coef_[-1] * SEASON_SD
    spread = np.sqrt(model.covariance_[-1, -1]) * SEASON_SD
    assert spread < 0.2
    assert abs(learned - effect) < 2.5 * spread
    assert (model.log_likelihood_ - undated.log_likelihood_ > 4) == (effect != 0)
    assert undated.n_season_ == 0
    assert len(undated.coef_) == len(model.coef_) - 1


def test_the_fit_stands_at_the_top_of_the_penalised_likelihood(fleets, monkeypatch):
    """Of lives followed to their tests alone, whose rows do not hang on the hazard."""
    windows = fleets[0.6][0].windows.drop(columns="contact_km")
    model = DefectHazard(tol=1e-7).fit(windows)
    monkeypatch.setattr("models.risk.hazard.season_step", lambda *_: 0.0)
    heights = []
    for away in (-0.2, 0.0, 0.2):
        fixed = DefectHazard(tol=1e-7)
        fixed._begin = partial(_held, fixed, float(model.coef_[-1]) + away)
        fixed.fit(windows)
        heights.append(fixed.log_likelihood_ - fixed.coef_ @ fixed.coef_ / 2)
    assert heights[1] == max(heights)
    bend = (2 * heights[1] - heights[0] - heights[2]) / 0.2**2
    slope = (heights[2] - heights[0]) / 0.4
    assert abs(slope / bend) < 0.05  # steps of the scaled coefficient to the top


def _held(fixed, season, count, records, *, afresh):
    fixed.n_season_ = 1
    records.set_season(season)
    return np.zeros(count), season


def test_chances_hardly_move_where_there_is_no_season(fleets):
    fleet, model, undated = fleets[0.0]
    now = fleet.sensors_now
    how = {"n_resamples": 0}
    dated, plain = (defect_chances(m, now, **how).chance for m in (model, undated))
    assert np.abs(dated - plain).mean() < 0.01
    assert np.corrcoef(dated[:, 0], plain[:, 0])[0, 1] > 0.995


def test_lives_ridden_over_whole_years_say_nothing_and_are_not_moved():
    windows, now = simulate(150, 4)
    day = pd.Timestamp("2400-06-01")

    def on(km):  # a km a day: cells of the curve and stretches of chances last some years
        return day + pd.to_timedelta(np.round(km.fillna(0.0)), unit="D").astype("timedelta64[s]")

    slow = {"km_per_day": 0.1}
    dated = windows.assign(
        **slow,
        entry_on=on(windows["entry_km"] * 10),
        good_on=on(windows["good_km"] * 10),
        end_km=windows["bad_km"],
        end_on=on(windows["bad_km"] * 10),
    )
    model = DefectHazard().fit(dated)
    plain = DefectHazard().fit(windows.assign(**slow))
    assert abs(model.coef_[-1]) < 0.05
    assert model.covariance_[-1, -1] == pytest.approx(1.0, abs=0.1)  # that of the prior
    assert model.coef_[:-1] == pytest.approx(plain.coef_, abs=0.01)
    at = on(now["age_now_km"] * 10)
    sensors = now.assign(**slow, entry_on=on(now["entry_km"] * 10), now_on=at)
    model.coef_[-1] = 1.0
    moved = defect_chances(model, sensors, n_resamples=0).chance
    still = defect_chances(plain, sensors, n_resamples=0).chance
    assert np.abs(moved - still).max() < 0.02


def test_the_km_ahead_count_by_the_days_on_which_they_will_be_run(fleets):
    fleet, model, _ = fleets[0.6]
    now = fleet.sensors_now.query("km_per_day > 20").head(60).reset_index(drop=True)

    def added(months):
        later = {
            name: now[name] + pd.DateOffset(months=months)
            for name in ("entry_on", "good_on", "now_on")
        }
        chance = defect_chances(model, now.assign(**later), n_resamples=0).chance
        return np.log(1 - chance[:, 0]) - np.log(1 - chance[:, 1])  # hazard of the next 1,000 km

    winter, summer = added(-2), added(4)  # from mid December, and from mid June
    assert (winter > summer).mean() > 0.95
    ratio = np.median(winter / summer)
    assert np.exp(0.6) < ratio < np.exp(2 * 0.75)


def test_the_outlook_by_km_follows_the_season(fleets):
    fleet, model, _ = fleets[0.6]
    now = fleet.sensors_now.head(30)
    settings = {"in_view": None, "wear_readings": None, "growth": None}
    half = now.assign(now_on=now["now_on"] + pd.DateOffset(months=6))
    one, other = (defects_ahead(model, n, None, settings, n_fits=0) for n in (now, half))
    first = one.km == 1_000
    assert not np.allclose(one.drawn[0][:, first], other.drawn[0][:, first], rtol=0.02)


def test_draws_spread_by_the_season_s_own_uncertainty(fleets):
    fleet, model, _ = fleets[0.0]
    draws = model.draw(4_000, 1)
    assert draws[:, -1].std() == pytest.approx(np.sqrt(model.covariance_[-1, -1]), rel=0.1)
    held = DefectHazard(sensitivity=0.9).fit(fleet.windows)
    held.covariance_ = model.covariance_.copy()
    held.covariance_[-1, :] = held.covariance_[:, -1] = 0.0
    now = fleet.sensors_now.head(80)
    how = {"horizons_km": (0.0, 1_000.0), "n_resamples": 300}
    spreads = []
    for some in (model, held):
        log_ok = np.log(1 - drawn_chances(some, now, **how)[1:])
        spreads.append(np.log(log_ok[:, :, 0] - log_ok[:, :, 1]).std(axis=0))
    assert np.median(spreads[0]) > 1.02 * np.median(spreads[1])


@pytest.mark.parametrize("remembered", [False, True])
def test_explanations_tell_of_the_season_and_still_add_up(fleets, remembered):
    fleet, _, _ = fleets[0.6]
    now = fleet.sensors_now.head(120).reset_index(drop=True)
    now.loc[3, "now_on"] = None
    windows = fleet.windows.drop(columns="contact_km")
    fitted = fit_risk(windows, now)
    results = fit_and_score(windows, now, fitted=fitted, n_resamples=0)
    how = {"remember": lambda name, keys, make: make(np.arange(len(keys)))} if remembered else {}
    table = explain_risk(results, now, **how)
    total = table.groupby("sensor_id", sort=False)["change"].sum()
    chance = results.defect_risk["defect_now"].to_numpy()
    assert total.to_numpy() == pytest.approx(chance, abs=1e-9)
    season = table[table["factor"] == SEASON].set_index("sensor_id")
    assert len(season) == len(now)
    assert (season["change"].abs() > 1e-3).mean() > 0.3
    assert "the season in which its last km were run" in season["words"].iloc[0]
    undated = season.loc[now["sensor_id"][3]]
    assert "not known" in undated["words"]


def test_today_is_rounded_from_the_day_a_sensor_was_last_dated(fleets):
    now = fleets[0.6][0].sensors_now
    near, _ = near_state(now, np.zeros(len(now)))
    further = (near["age_now_km"] - now["age_now_km"]) / now["km_per_day"]
    away = ((near["now_on"] - now["now_on"]).dt.days - further.fillna(0.0)).abs()
    assert away.max() <= 13
    later = now.assign(now_on=now["now_on"] + pd.Timedelta(days=1))
    moved, _ = near_state(later, np.zeros(len(now)))
    assert (moved["now_on"] != near["now_on"]).mean() < 0.1
    assert near_state(now.drop(columns="now_on"), np.zeros(len(now)))[0].shape[0] == len(now)


def test_a_calendar_of_sensors_in_service_ends_today(fleets):
    now = fleets[0.6][0].sensors_now
    calendar = calendar_now(now, 30.0)
    every = np.arange(len(now))
    day = calendar.day_at(every, now["age_now_km"].to_numpy(float))
    assert np.allclose(day, 20_500)
    ahead = calendar.day_at(every, now["age_now_km"].to_numpy(float) + 1_000)
    assert np.allclose(ahead - day, 1_000 / now["km_per_day"])
