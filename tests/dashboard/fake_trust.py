"""The trust page's view, made up from the declared schemas."""

from __future__ import annotations

import pandas as pd

from pipeline.access.frames import view_schemas as schemas
from pipeline.access.frames.plan_schemas import ADVICE_FOLLOWED, ANSWERS_FOLLOWED
from pipeline.access.views import TrustView
from tests.dashboard.fake_views import HOSTILE, edition, one, rows


def skill() -> pd.DataFrame:
    return rows(
        schemas.BACKTEST_SKILL,
        3,
        name=["ours", "mileage only", "oldest first"],
        n_scored=923,
        n_found=72,
        top_tenth_share=[0.444, 0.375, 0.25],
        brier=[0.0594, 0.0659, None],
        log_loss=[0.2153, 0.2394, None],
        found_over_expected=[0.93, 0.7, None],
        slope=[0.99, 0.92, None],
        too_few=False,
    )


def calibration() -> pd.DataFrame:
    return rows(
        schemas.BACKTEST_CALIBRATION,
        4,
        by=["tenth", "tenth", "part", "part"],
        group=["01", "02", "P-1", HOSTILE],
        n=[92, 93, 300, 120],
        found=[9.0, 33.0, 11.0, 2.0],
        expected=[2.0, 33.8, 16.2, 2.0],
        sd=[1.4, 4.5, 3.7, 1.3],
        chance_from=[0.0005, 0.2335, 0.001, 0.001],
        chance_to=[0.0056, 0.81, 0.65, 0.2],
    )


def fleet_curve() -> pd.DataFrame:
    return rows(
        schemas.FLEET_CURVE,
        6,
        part_no=["all"] * 3 + ["P-1"] * 3,
        age_km=[0.0, 20_000.0, 40_000.0] * 2,
        survival=[1.0, 0.8, 0.5] * 2,
        survival_low=[1.0, 0.7, 0.3] * 2,
        survival_high=[1.0, 0.9, 0.7] * 2,
        sensor_count=[10, 6, 0] * 2,
        defect_count=[7] * 3 + [3] * 3,
    )


def life_quantiles() -> pd.DataFrame:
    return rows(
        schemas.LIFE_QUANTILES,
        4,
        grouped_by=["all", "all", "part_no", "part_no"],
        group_name=["all", "all", "P-1", "P-1"],
        share_with_defect=[0.1, 0.5] * 2,
        life_km=[16_701.7, 47_805.0, 15_000.0, 40_000.0],
        life_low_km=[11_161.0, 42_894.0, 9_000.0, 35_000.0],
        life_high_km=[20_155.0, 51_964.0, 19_000.0, None],
        beyond=[False, False, False, True],
        oldest_km=[104_033.0, 104_033.0, 40_000.0, 40_000.0],
        sensor_count=[10, 10, 4, 4],
        defect_count=[7, 7, 3, 3],
        words=["B10 life: about 16,702 km.", "B50 life: about 47,805 km."] * 2,
    )


def learned() -> pd.DataFrame:
    return rows(
        schemas.ASSUMED_AND_LEARNED,
        2,
        quantity=["sensitivity", "delay"],
        unit=["share", "km"],
        assumed=[0.9, 5000.0],
        assumed_low=[0.77, 2108.0],
        assumed_high=[0.98, 28140.0],
        learned=[0.9, 4905.0],
        learned_low=[0.77, 3734.0],
        learned_high=[0.98, 6443.0],
        rests_on=["nothing: it stays assumed", "35 road failures"],
    )


def over_sensitivity(changed: int = 1) -> pd.DataFrame:
    return rows(
        schemas.ADVICE_OVER_SENSITIVITY,
        4,
        sensitivity=[0.77, 0.77, 0.98, 0.98],
        quantile=[0.05, 0.05, 0.95, 0.95],
        action=["leave", "test"] * 2,
        sensor_count=[76, 34, 76, 34],
        changed_count=[0, changed, 0, 0],
    )


def followed() -> pd.DataFrame:
    return rows(
        ADVICE_FOLLOWED,
        2,
        action=["leave", "replace"],
        spell_count=[40, 5],
        sensor_count=[38, 5],
        by_lot_count=0,
        tested_count=[6, 1],
        taken_off_count=[2, 4],
        confirmed_count=[2, 3],
        sound_count=[0, 1],
        road_failure_count=[2, 0],
    )


def answered() -> pd.DataFrame:
    return rows(
        ANSWERS_FOLLOWED,
        3,
        action=["replace", "replace", "test"],
        answer=["accept", "none", "put_off"],
        spell_count=[3, 2, 4],
        taken_off_count=[3, 1, 1],
        sound_count=[1, 0, 0],
        road_failure_count=[0, 0, 1],
    )


def silence() -> pd.DataFrame:
    return rows(
        schemas.SILENCE,
        3,
        way=["as_taken", "silence_tells_nothing", "all_in_view_to_this_day"],
        sensor_count=127,
        expected_defects=[11.15, 18.3, 11.07],
        differing_count=[0, 43, 0],
    )


def fit(**values) -> dict:
    known = {
        "fit_version": "2026-10-31.0123456789ab",
        "fitted_as_of": pd.Timestamp("2026-10-31"),
        "n_lives": 2_431,
        "n_defects": 786,
        "n_tests": 9_844,
        "why_fitted": None,
        "defects_since": 1,
        "km_since": 6_000.0,
    }
    return one(schemas.RISK_FIT, **(known | values))


def trust_view(**values) -> TrustView:
    about = one(
        schemas.BACKTEST_ABOUT,
        dates=8,
        first_on=pd.Timestamp("2022-11-21"),
        last_on=pd.Timestamp("2026-05-04"),
        every_days=180,
        reason=None,
    )
    parts = {
        "edition": edition(),
        "about": about,
        "skill": skill(),
        "calibration": calibration(),
        "curve": fleet_curve(),
        "quantiles": life_quantiles(),
        "learned": learned(),
        "over_sensitivity": over_sensitivity(),
        "silence": silence(),
        "followed": followed(),
        "answered": answered(),
        "fit": fit(),
    }
    return TrustView(**(parts | values))


def trust_without_records() -> TrustView:
    """A shop whose records are too few for anything on the page."""
    reason = "3 confirmed defects are on record. Looking back needs 10."
    return trust_view(
        about=one(schemas.BACKTEST_ABOUT, dates=0, first_on=None, last_on=None, reason=reason),
        skill=schemas.BACKTEST_SKILL.empty(),
        calibration=schemas.BACKTEST_CALIBRATION.empty(),
        curve=schemas.FLEET_CURVE.empty(),
        quantiles=schemas.LIFE_QUANTILES.empty(),
        over_sensitivity=schemas.ADVICE_OVER_SENSITIVITY.empty(),
        silence=schemas.SILENCE.empty(),
        followed=ADVICE_FOLLOWED.empty(),
        answered=ANSWERS_FOLLOWED.empty(),
    )
