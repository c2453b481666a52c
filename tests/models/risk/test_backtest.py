from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from sklearn.metrics import brier_score_loss, log_loss
from statsmodels.api import GLM, add_constant, families

from models.risk.backtest import (
    against_baselines,
    calibration,
    mileage_curve_chances,
    origins,
    skill,
)
from models.risk.score import fit_and_score
from tests.models.risk.simulated_fleet import simulate


@pytest.fixture
def stated():
    rng = np.random.default_rng(1)
    chance = rng.beta(1, 6, 2_000)
    return chance, rng.random(2_000) < chance, rng.integers(0, 4, 2_000)


def test_scores_are_those_of_the_reference_libraries(stated):
    chance, found, origin = stated
    ours = skill("ours", found, chance, origin)
    assert ours.brier == pytest.approx(brier_score_loss(found, chance))
    assert ours.log_loss == pytest.approx(log_loss(found, chance))
    odds = np.log(chance / (1 - chance))
    reference = GLM(found.astype(float), add_constant(odds), family=families.Binomial()).fit()
    assert ours.slope == pytest.approx(reference.params[1], rel=1e-6)
    assert ours.found_over_expected == pytest.approx(found.sum() / chance.sum())


def test_overconfident_chances_have_a_slope_below_one(stated):
    chance, found, origin = stated
    odds = 2 * np.log(chance / (1 - chance))
    assert skill("bold", found, 1 / (1 + np.exp(-odds)), origin).slope == pytest.approx(
        skill("ours", found, chance, origin).slope / 2
    )


def test_the_top_tenth_is_counted_within_each_date():
    score = np.tile(np.arange(20.0), 2)
    found = np.zeros(40, dtype=bool)
    found[[19, 18, 5, 39]] = True
    origin = np.repeat([1, 2], 20)
    assert skill("one", found, score, origin, states_chance=False).top_tenth_share == 0.75


def test_ties_give_what_chance_would():
    found = np.zeros(100, dtype=bool)
    found[:7] = True
    tied = skill("tied", found, np.ones(100), np.zeros(100), states_chance=False)
    assert tied.top_tenth_share == pytest.approx(0.1)
    assert np.isnan(tied.brier)
    assert tied.too_few


def test_what_cannot_be_scored_is_named():
    with pytest.raises(ValueError, match="blank score at row 1"):
        skill("ours", [True, False], [0.1, np.nan], [0, 0])
    with pytest.raises(ValueError, match="expected 0 to 1"):
        skill("ours", [True, False], [0.1, 4.0], [0, 0])
    with pytest.raises(ValueError, match="no sensor was scored"):
        skill("ours", [], [], [])


def test_origins_step_back_from_the_last_day():
    found = origins(pd.Timestamp("2024-01-01"), pd.Timestamp("2025-01-01"), every_days=120)
    assert [str(day.date()) for day in found] == ["2024-01-07", "2024-05-06", "2024-09-03"]


def test_the_mileage_curve_rises_where_sensors_wear_out():
    windows, _ = simulate(2_000, 4)
    young, old = mileage_curve_chances(windows, np.array([5_000.0, 50_000.0]), 5_000.0)
    # Weibull of shape 2 and scale 60,000 km, averaged over parts and duties of mean factor near 1
    assert young == pytest.approx(1 - np.exp(-(100 - 25) / 3_600), rel=0.4)
    assert old == pytest.approx(1 - np.exp(-(3_025 - 2_500) / 3_600), rel=0.3)
    assert mileage_curve_chances(windows.head(0), np.array([1.0]), 5_000.0).shape == (1,)


def test_ours_beats_both_baselines_on_later_defects():
    """Fit on the record, then look at which sensors in service truly have the defect."""
    windows, now = simulate(3_000, 5, spacing_km=12_000.0)
    risk = fit_and_score(windows, now, n_resamples=0).defect_risk
    scored = pd.DataFrame(
        {
            "origin": 0,
            "found": now["truly_defective"],
            "chance": risk["defect_now"],
            "mileage_chance": mileage_curve_chances(windows, now["age_now_km"], 5_000.0),
            "age_km": now["age_now_km"],
        }
    )
    table = against_baselines(scored).set_index("name")
    assert table["log_loss"].idxmin() == "ours"
    assert table["brier"].idxmin() == "ours"
    assert table.loc["ours", "top_tenth_share"] > table.loc["oldest first", "top_tenth_share"]
    assert not table["too_few"].any()


def test_calibration_by_group_adds_up(stated):
    chance, found, origin = stated
    table = calibration(found, chance, origin)
    assert table["n"].sum() == 2_000
    assert table["expected"].sum() == pytest.approx(chance.sum())
    assert ((table["found"] - table["expected"]).abs() < 4 * table["sd"]).all()
