"""The hazard model against published worked examples and reference libraries."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from lifelines import KaplanMeierFitter, WeibullFitter
from lifelines.datasets import load_diabetes, load_multicenter_aids_cohort_study

from models.risk.hazard import DefectHazard
from tests.models.risk import published_lives as published

#: Coefficients left to the records alone, groups shut off: a plain Weibull or spline hazard.
FREE = {"level_sd": 1e3, "slope_sd": 1e3, "group_sd": 1e-6, "repaired_sd": 1e-6}
ONE_SENSOR = pd.DataFrame({"part_no": ["P"], "duty": [None], "repaired": [False]})


def weibull_at(lives: pd.DataFrame, n_cells: int) -> np.ndarray:
    """Shape and scale on a grid; started well away from the answer."""
    start = float(lives["good_km"].mean() * 3)
    model = DefectHazard(
        baseline="log_km", n_cells=n_cells, curve_shape=1.0, curve_scale_km=start, tol=1e-7, **FREE
    )
    return np.array(model.fit(lives).weibull())


def assert_nears(lives: pd.DataFrame, reference: tuple[float, float]) -> None:
    """Within 1 % on the finest grid, and nearer on each grid four times finer."""
    errors = [np.max(np.abs(weibull_at(lives, n) / reference - 1)) for n in (12, 50, 200, 800)]
    assert errors[-1] < 0.01
    assert errors[0] > errors[1] > errors[-1], errors


def by_sample(windows: pd.DataFrame) -> tuple[np.ndarray, np.ndarray]:
    return windows["good_km"].to_numpy(), windows["bad_km"].notna().to_numpy()


def test_nist_multicensored_weibull():
    """NIST/SEMATECH e-Handbook: shape 1.7208, scale 606.53 (the maximum likelihood values)."""
    lives = published.exact_lives(published.NIST_FAILED, published.NIST_RUNNING)
    reference = WeibullFitter().fit(*by_sample(lives))
    assert (reference.rho_, reference.lambda_) == pytest.approx((1.7208, 606.53), rel=1e-4)
    assert_nears(lives, (1.7208, 606.53))


def test_automotive_weibull():
    """Shape 1.1544, scale 134,651, recomputed here with lifelines."""
    lives = published.exact_lives(published.AUTOMOTIVE_FAILED, published.AUTOMOTIVE_RUNNING)
    reference = WeibullFitter().fit(*by_sample(lives))
    assert (reference.rho_, reference.lambda_) == pytest.approx((1.1544, 134_651), rel=1e-4)
    assert_nears(lives, (1.1544, 134_651))


def test_mileage_weibull():
    """Shape 3.1371, scale 33,555, recomputed here with lifelines."""
    lives = published.exact_lives(published.MILEAGE_FAILED)
    reference = WeibullFitter().fit(*by_sample(lives))
    assert (reference.rho_, reference.lambda_) == pytest.approx((3.1371, 33_555), rel=1e-4)
    assert_nears(lives, (3.1371, 33_555))


def test_interval_censored_diabetes():
    """lifelines' diabetes windows (Borch-Johnsen et al. 1985) against its Weibull fitter."""
    data = load_diabetes()
    reference = WeibullFitter().fit_interval_censoring(data["left"], data["right"])
    lives = published.lives(0.0, data["left"].to_numpy(), data["right"].to_numpy())
    assert_nears(lives, (reference.rho_, reference.lambda_))


def test_left_truncated_cohort():
    """lifelines' multicentre AIDS cohort: entry W, end T, event D."""
    data = load_multicenter_aids_cohort_study()
    end, entry = data["T"].to_numpy(), data["W"].to_numpy()
    reference = WeibullFitter().fit(end, data["D"], entry=entry)
    lives = published.lives(entry, end, np.where(data["D"] == 1, end, np.nan))
    assert_nears(lives, (reference.rho_, reference.lambda_))


def test_truncation_matters():
    """The same cohort with its entry ages left out is far off, so the check above can fail."""
    data = load_multicenter_aids_cohort_study()
    end = data["T"].to_numpy()
    reference = WeibullFitter().fit(end, data["D"], entry=data["W"])
    ignored = published.lives(0.0, end, np.where(data["D"] == 1, end, np.nan))
    assert abs(weibull_at(ignored, 400)[1] / reference.lambda_ - 1) > 0.05


def aids_cohort() -> pd.DataFrame:
    data = load_multicenter_aids_cohort_study()
    end = data["T"].to_numpy()
    return published.lives(data["W"].to_numpy(), end, np.where(data["D"] == 1, end, np.nan))


REMISSION = published.exact_lives(
    [t for t, e in zip(published.REMISSION_WEEKS, published.REMISSION_ENDED, strict=True) if e],
    [t for t, e in zip(published.REMISSION_WEEKS, published.REMISSION_ENDED, strict=True) if not e],
)


def test_kaplan_meier_of_remission_is_as_printed():
    """Guards the typed-in data: S as printed in Klein & Moeschberger, table 4.1."""
    curve = KaplanMeierFitter().fit(*by_sample(REMISSION))
    for week, survival in published.REMISSION_SURVIVAL.items():
        assert curve.predict(week) == pytest.approx(survival, abs=5e-5)


@pytest.mark.parametrize(
    "lives",
    [
        pytest.param(REMISSION, id="6-MP remission"),
        pytest.param(
            published.exact_lives(published.NIST_FAILED, published.NIST_RUNNING), id="NIST"
        ),
        pytest.param(
            published.exact_lives(published.AUTOMOTIVE_FAILED, published.AUTOMOTIVE_RUNNING),
            id="automotive",
        ),
        pytest.param(published.exact_lives(published.MILEAGE_FAILED), id="mileage"),
        pytest.param(aids_cohort(), id="left-truncated cohort"),
    ],
)
def test_spline_survival_within_one_greenwood_error_of_kaplan_meier(lives):
    """At each decile the Kaplan-Meier step reaches: the spline lies within one standard error
    (Greenwood) of the middle of the step, which is where a continuous curve would cross it.
    """
    time, event = by_sample(lives)
    curve = KaplanMeierFitter().fit(time, event, entry=lives["entry_km"].to_numpy() - 1e-9)
    model = DefectHazard(n_cells=200, curve_scale_km=float(time.mean() * 2), **FREE).fit(lives)
    steps = curve.event_table.query("observed > 0")
    left = steps["at_risk"] - steps["observed"]
    greenwood = (steps["observed"] / (steps["at_risk"] * left.where(left > 0))).cumsum()
    survival = curve.survival_function_.iloc[:, 0]
    checked = 0
    for decile in np.arange(0.9, 0.05, -0.1):
        reached = survival[survival <= decile]
        if reached.empty or reached.iloc[0] == 0:
            break
        age = reached.index[0]
        middle = (reached.iloc[0] + survival[survival.index < age].iloc[-1]) / 2
        error = reached.iloc[0] * np.sqrt(greenwood.loc[age])
        ours = model.predict_survival(ONE_SENSOR, np.array([age]))[0]
        assert abs(ours - middle) <= error, (decile, ours, middle, error)
        checked += 1
    assert checked >= 4
