from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from models.frames import FrameError
from models.risk.assumed import BetaPrior
from models.risk.fit import fit_risk
from models.risk.hazard import DefectHazard
from models.risk.schemas import DEFECT_RISK, FLEET_CURVE, LIFE_WINDOWS
from models.risk.score import fit_and_score
from tests.models.risk.simulated_fleet import Truth, simulate

CHANCES = ["defect_now", "defect_1000_km", "defect_5000_km", "defect_10000_km"]


@pytest.fixture(scope="module")
def fleet():
    return simulate(300, 2, share_unknown=0.2)


def test_results_fit_their_schemas_and_counts_add_up(fleet):
    windows, now = fleet
    results = fit_and_score(windows, now)
    assert list(results.defect_risk) == DEFECT_RISK.names
    assert list(results.fleet_curve) == FLEET_CURVE.names
    assert results.defect_risk["sensor_id"].tolist() == now["sensor_id"].tolist()
    risk = results.defect_risk[CHANCES]
    assert risk.notna().all(axis=None)
    assert (risk.diff(axis=1).iloc[:, 1:] >= 0).all(axis=None)
    summary = results.summary
    assert summary["n_lives"] == len(windows)
    assert summary["n_defects"] == windows["bad_km"].notna().sum()
    assert summary["n_bikes"] == windows["unit_id"].nunique()
    km = (windows["bad_km"].fillna(windows["good_km"]) - windows["entry_km"]).sum()
    assert summary["km_observed"] == pytest.approx(km)
    assert not summary["mostly_assumed"]
    assert summary["road_failures"]["n_road_failures"] == windows["road_failure"].sum()


def test_the_fleet_curve_counts_what_was_watched(fleet):
    curve = fit_and_score(*fleet).fleet_curve
    assert curve["part_no"].unique().tolist() == ["all", "P0", "P1", "P2"]
    for _, group in curve.groupby("part_no"):
        assert group["survival"].is_monotonic_decreasing
        assert (group["survival_low"] <= group["survival"]).all()
        assert (group["survival"] <= group["survival_high"]).all()
    parts = curve[curve["part_no"] != "all"].groupby("age_km")["sensor_count"].sum()
    whole = curve[curve["part_no"] == "all"].set_index("age_km")["sensor_count"]
    assert (parts == whole).all()


def test_the_same_seed_gives_the_same_numbers(fleet):
    one, two = (fit_and_score(*fleet, seed=4).defect_risk for _ in range(2))
    pd.testing.assert_frame_equal(one, two)


def test_no_record_at_all_leaves_the_risk_blank(fleet):
    results = fit_and_score(LIFE_WINDOWS.empty(), fleet[1])
    assert results.model is None
    assert results.defect_risk[CHANCES].isna().all(axis=None)
    assert results.defect_risk["basis"].str.contains("No sensor has been watched").all()
    assert results.fleet_curve.empty
    assert results.summary["n_lives"] == 0


def test_no_sensor_in_service_is_no_trouble(fleet):
    assert fit_and_score(fleet[0], fleet[1].head(0)).defect_risk.empty


def test_a_bike_without_a_reading_is_blank_and_says_so(fleet):
    windows, now = fleet
    now = now.head(3).assign(age_now_km=[np.nan, 20_000.0, 20_000.0])
    risk = fit_and_score(windows, now).defect_risk
    assert risk["defect_now"].isna().tolist() == [True, False, False]
    assert "no odometer reading" in risk["basis"][0]


def test_few_defects_are_said_and_keep_the_interval_wide():
    windows, now = simulate(60, 3, Truth(scale_km=180_000.0))
    results = fit_and_score(windows, now)
    assert 1 <= results.summary["n_defects"] < 10
    risk = results.defect_risk
    assert risk["basis"].str.contains("too few, so it rests largely on an assumed wear curve").all()
    assert (risk["defect_5000_km_high"] > 1.8 * risk["defect_5000_km_low"]).all()


def test_a_sign_and_its_counts_stand_in_the_basis(fleet):
    windows, now = fleet
    now = now.head(2).assign(last_verdict=["fail", "pass"])
    followed = pd.DataFrame({"sign": ["fail"], "followed_up": [9], "confirmed": [7]})
    risk = fit_and_score(windows, now, followed_up=followed).defect_risk
    assert "its last test failed, and 7 of 9 such tests" in risk["basis"][0]
    assert "its last test failed" not in risk["basis"][1]
    alone = fit_and_score(windows, now).defect_risk
    assert "its last test failed, and no such test has been followed up" in alone["basis"][0]
    assert risk["defect_now"][0] == pytest.approx(10 / 13)
    assert risk["defect_now_low"][0] < 0.65
    assert risk["defect_now_high"][0] > 0.85


def test_road_failures_do_not_move_the_chance_of_a_defect(fleet):
    windows, now = fleet
    one = fit_and_score(windows, now)
    two = fit_and_score(windows.assign(road_failure=windows["bad_km"].notna()), now)
    pd.testing.assert_frame_equal(one.defect_risk, two.defect_risk)
    assert two.summary["road_failures"]["share"] == 1.0


def test_a_missing_column_is_named(fleet):
    with pytest.raises(FrameError, match="life_windows: no column bad_km"):
        fit_and_score(fleet[0].drop(columns="bad_km"), fleet[1])


@pytest.mark.long
def test_intervals_of_the_curve_hold_the_truth_about_as_often_as_they_say():
    """25 fleets of 80 bikes: a 90 % interval is right in at least 17 of them (99.8 % limit of a
    binomial with 25 trials at 0.9); the benchmark counts far more fleets.
    """
    truth, age, hits = Truth(), 30_000.0, 0
    for seed in range(25):
        windows, _ = simulate(80, 1_000 + seed, truth)
        curve = fit_and_score(
            windows,
            windows.head(0).assign(age_now_km=np.nan, last_verdict=None, last_conclusion=None),
            seed=seed,
            n_resamples=100,
            model=DefectHazard(n_cells=25),
        ).fleet_curve
        curve = curve[curve["part_no"] == "all"]
        true = truth.survival(age, windows["ratio"]).mean()
        low, high = (
            np.interp(age, curve["age_km"], curve[f"survival_{end}"]) for end in ("low", "high")
        )
        hits += low <= true <= high
    assert hits >= 17


def test_a_stated_sensitivity_is_used(fleet):
    sure, unsure = (
        fit_and_score(*fleet, sensitivity=s).defect_risk["defect_now"].mean()
        for s in (BetaPrior(99, 1), BetaPrior(6, 4))
    )
    assert unsure > 1.2 * sure


def test_models_already_fitted_give_the_same_chances():
    windows, now = simulate(200, 4)
    fitted = fit_risk(windows, now)
    once, again = fit_and_score(windows, now), fit_and_score(windows, now, fitted=fitted)
    assert again.model is fitted.model
    pd.testing.assert_frame_equal(once.defect_risk, again.defect_risk)
