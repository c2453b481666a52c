"""Fit all models of the risk to one record: what may be kept between builds."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from sklearn.base import clone

from models.risk.assumed import TEST_SENSITIVITY, BetaPrior
from models.risk.growth import WearGrowth
from models.risk.hazard import DefectHazard
from models.risk.joint import fit_complaint_rates, fit_growth
from models.risk.lives import checked_lives, found_on_entry, with_doubts
from models.risk.now import usual_test_spacing_km
from models.risk.past_tests import LifeEvidence, good_test_gaps, good_tests
from models.risk.schemas import (
    CONTACT_GAPS,
    FOLLOWED_UP,
    LIFE_WINDOWS,
    SENSORS_NOW,
    WEAR_READINGS,
)
from models.risk.signs import learned_shares
from models.risk.view import followed_on, in_view_chances, paces

#: Most turns in which the hazard is fitted anew given the course of readings; the course is fitted
#: anew, and a turn follows, only where the last moved the delay or the curve by more than this.
_TURNS, _MOVED = 2, 0.1


@dataclass(frozen=True)
class FittedRisk:
    """The fitted models of one record; each is None where there was nothing to fit it to.

    ``model`` : hazard of defect. ``silent_model`` : the same were a defect never heard of before a
    test; None where ``model`` knows of no delay. ``growth`` : how readings grow towards the defect.
    """

    model: DefectHazard | None
    silent_model: DefectHazard | None
    growth: WearGrowth | None


def fit_risk(
    windows: pd.DataFrame,
    sensors_now: pd.DataFrame,
    *,
    followed_up: pd.DataFrame | None = None,
    contact_gaps: pd.DataFrame | None = None,
    wear_readings: pd.DataFrame | None = None,
    sensitivity: BetaPrior = TEST_SENSITIVITY,
    model: DefectHazard | None = None,
    seed: int = 0,
) -> FittedRisk:
    """Fit the hazard of defect to observed lives, and the course of readings beside it.

    Parameters and errors are those of ``models.risk.score.fit_and_score``.
    """
    windows, sensors = LIFE_WINDOWS.check(windows), SENSORS_NOW.check(sensors_now)
    read = None if wear_readings is None else WEAR_READINGS.check(wear_readings)
    shares = learned_shares(None if followed_up is None else FOLLOWED_UP.check(followed_up))
    unfitted = clone(DefectHazard() if model is None else model)
    unfitted.set_params(sensitivity=sensitivity.mean, sensitivity_sd=sensitivity.sd)
    lives = with_doubts(_with_earlier(windows, read), shares)
    followed = lives
    if contact_gaps is not None:
        by_bike = in_view_chances(CONTACT_GAPS.check(contact_gaps), km_per_day=paces(windows))
        followed = followed_on(lives, sensors, by_bike)
    fitted = _fit(followed, unfitted)
    silent = growth = None
    if fitted is not None and fitted.delay_ is not None:
        silent = _fit(lives, clone(fitted).set_params(delay_prior=None))
    if fitted is not None and read is not None:
        spacing_km = usual_test_spacing_km(windows)
        how = {"sensitivity": sensitivity, "spacing_km": spacing_km, "seed": seed}
        fitted, growth = _fit_in_turns(fitted, followed, lives, read, how)
    return FittedRisk(fitted, silent, growth)


def _fit_in_turns(
    model: DefectHazard,
    followed: pd.DataFrame,
    lives: pd.DataFrame,
    read: pd.DataFrame,
    how: dict[str, Any],
) -> tuple[DefectHazard, WearGrowth]:
    """Hazard and course of readings, each given the other."""
    growth = _fit_growth(model, lives, read, how)
    if model.delay_ is None:
        return model, growth
    for turn in range(_TURNS):
        before = _size(model)
        model = model.fit(followed, evidence=LifeEvidence(growth, read))
        if turn == _TURNS - 1 or np.abs(_size(model) - before).max() < _MOVED:
            break
        growth = _fit_growth(model, lives, read, how)
    return model, growth


def _fit_growth(
    model: DefectHazard, lives: pd.DataFrame, read: pd.DataFrame, how: dict[str, Any]
) -> WearGrowth:
    growth = fit_growth(model, lives, read, **how)
    growth.complaint_rates_ = fit_complaint_rates(model, growth, lives, read, **how)
    return growth


def _size(model: DefectHazard) -> np.ndarray:
    """Logarithms of the delay and of the common cumulative hazard at some ages."""
    common = pd.DataFrame({"part_no": [None], "duty": [None], "repaired": [False]})
    ages = model.edges_[-1] * np.array([[0.25, 0.5, 1.0]])
    total = model.predict_cumulative_hazard(common, ages)[0]
    return np.log(np.append(total, model.delay_.rate_per_km))


def _fit(windows: pd.DataFrame, model: DefectHazard) -> DefectHazard | None:
    """The fitted model, or None where nothing was watched for a single km."""
    lives = checked_lives(windows)
    lives = lives[~found_on_entry(lives)]
    end = lives["bad_km"].fillna(lives["good_km"])
    if not (end > lives["entry_km"]).any():
        return None
    return clone(model).fit(windows)


def _with_earlier(windows: pd.DataFrame, read: pd.DataFrame | None) -> pd.DataFrame:
    """Lives with the age at the good test before the last one, or at entry where that was first.

    Blank where no test is on record: then tests are taken at their word.
    """
    if read is None:
        return windows
    tested = windows["life_id"].isin(good_tests(read)["life_id"])
    gaps = good_test_gaps(windows, read, 0.0)
    earlier = (windows["good_km"] - gaps[:, 1]).fillna(windows["entry_km"])
    return windows.assign(earlier_km=earlier.where(tested))
