from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from sklearn.base import clone
from sklearn.exceptions import NotFittedError

from models.risk.assumed import CURVE_SCALE_KM, CURVE_SHAPE, GammaPrior
from models.risk.hazard import DefectHazard
from models.risk.lives import LivesError
from tests.models.risk.published_lives import lives
from tests.models.risk.simulated_fleet import Truth, simulate, with_contact

AGES = np.array([1_000.0, 10_000, 20_000, 40_000, 60_000])


def patterns(part="P1", duty="D0", repaired=False, n=5):
    return pd.DataFrame({"part_no": [part] * n, "duty": [duty] * n, "repaired": [repaired] * n})


def survival(model, **pattern):
    return model.predict_survival(patterns(**pattern), AGES)


@pytest.fixture(scope="module")
def large():
    truth = Truth()
    return truth, DefectHazard().fit(simulate(6_000, 11, truth)[0])


def test_the_true_curve_of_each_part_and_duty_is_recovered(large):
    truth, model = large
    for part, duty in [(0, 0), (1, 1), (2, 0)]:
        ratio = truth.parts[part] * truth.duties[duty]
        found = survival(model, part=f"P{part}", duty=f"D{duty}")
        assert found == pytest.approx(truth.survival(AGES, ratio), abs=0.03)


def test_midpoints_in_place_of_windows_would_be_worse():
    """Wide windows: the EM fit recovers the curve where treating findings as exact does not."""
    truth = Truth()
    windows, _ = simulate(3_000, 5, truth, spacing_km=25_000, watch_km=(30_000.0, 90_000.0))
    at_finding = windows.assign(good_km=windows["bad_km"].fillna(windows["good_km"]))
    sole = {"group_sd": 1e-6}
    right, late = (DefectHazard(**sole).fit(w) for w in (windows, at_finding))
    true = np.mean([truth.survival(AGES, r) for r in windows["ratio"]], axis=0)
    assert survival(right) == pytest.approx(true, abs=0.03)
    assert np.abs(survival(late) - true).max() > 0.06


def test_leaving_out_the_entry_age_would_flatter_the_sensors():
    truth = Truth()
    windows, _ = simulate(3_000, 6, truth)
    model = DefectHazard(group_sd=1e-6).fit(windows.assign(entry_km=0.0))
    true = np.mean([truth.survival(AGES, r) for r in windows["ratio"]], axis=0)
    assert (survival(model) - true)[-1] > 0.05


def test_sensors_of_unknown_age_leave_the_curve_in_place():
    truth = Truth()
    windows, _ = simulate(4_000, 7, truth, share_unknown=0.6)
    assert (~windows["age_known"]).mean() > 0.25
    model = DefectHazard(group_sd=1e-6).fit(windows)
    true = np.mean([truth.survival(AGES, r) for r in windows["ratio"]], axis=0)
    assert survival(model) == pytest.approx(true, abs=0.03)


def test_a_small_group_is_drawn_to_the_common_curve():
    windows, _ = simulate(1_000, 8)
    few = windows.head(4).assign(part_no="rare", entry_km=0.0, good_km=5_000.0, bad_km=6_000.0)
    model = DefectHazard().fit(pd.concat([windows, few], ignore_index=True))
    unseen, rare = survival(model, part="never seen"), survival(model, part="rare")
    alone = DefectHazard(level_sd=1e3).fit(few).predict_survival(patterns("rare"), AGES)
    assert (rare[1:] < unseen[1:]).all()
    assert rare[2] > alone[2] + 0.3


def test_a_cleaned_sensor_has_its_own_hazard():
    windows, _ = simulate(2_000, 9, Truth(parts=(1.0,), duties=(1.0,)))
    worse, _ = simulate(2_000, 10, Truth(parts=(2.5,), duties=(1.0,)))
    worse = worse.assign(repaired=True, unit_id="R" + worse["unit_id"])
    model = DefectHazard().fit(pd.concat([windows, worse], ignore_index=True))
    age = np.array([30_000.0])
    once, cleaned = (
        model.predict_cumulative_hazard(patterns(repaired=r, n=1), age)[0] for r in (False, True)
    )
    assert cleaned / once == pytest.approx(2.5, rel=0.15)


def test_blank_duty_and_unseen_part_have_the_common_hazard(large):
    _, model = large
    blank = survival(model, part="none such", duty=None)
    assert (survival(model, part="P2", duty="D1")[1:] < blank[1:]).all()
    assert (survival(model, part="P0", duty="D0")[1:] > blank[1:]).all()


def test_one_short_life_leaves_the_assumed_curve_standing():
    model = DefectHazard().fit(lives(0.0, [100.0], [np.nan]))
    assumed = np.exp(-((AGES / CURVE_SCALE_KM) ** CURVE_SHAPE))
    assert survival(model, part="P", duty=None) == pytest.approx(assumed, abs=0.01)
    drawn = model.predict_survival(patterns(), AGES, model.draw(500, 0))[:, 3]
    low, high = np.quantile(drawn, [0.05, 0.95])
    assert high - low > 0.5


def test_five_defects_give_no_confident_number():
    windows, _ = simulate(60, 3, Truth(scale_km=180_000.0))
    model = DefectHazard().fit(windows)
    assert 1 <= model.n_defects_ <= 8
    hazard = model.predict_cumulative_hazard(patterns(), AGES, model.draw(500, 0))[:, 3]
    low, high = np.quantile(hazard, [0.05, 0.95])
    assert high / low > 3


def test_nothing_watched_is_said():
    with pytest.raises(LivesError, match="no sensor has run a km"):
        DefectHazard().fit(lives([10.0], [10.0], [np.nan]))


def test_estimator_conventions():
    model = DefectHazard(n_cells=7, baseline="nonsense")
    assert clone(model).get_params() == model.get_params()
    with pytest.raises(NotFittedError):
        model.predict_survival(patterns(), AGES)
    with pytest.raises(ValueError, match="baseline is 'nonsense'"):
        model.fit(lives(0.0, [10.0], [np.nan]))
    with pytest.raises(ValueError, match="baseline='log_km'"):
        DefectHazard().fit(lives(0.0, [10.0], [np.nan])).weibull()


@settings(max_examples=15)
@given(seed=st.integers(0, 10_000), bikes=st.integers(2, 60))
def test_survival_never_rises_and_is_a_probability(seed, bikes):
    model = DefectHazard(n_cells=20).fit(simulate(bikes, seed, share_unknown=0.3)[0])
    ages = np.linspace(0, 400_000, 200)
    curve = model.predict_survival(patterns(n=200), ages, model.draw(5, 0))
    assert (curve[:, 0] == 1).all()
    assert (np.diff(curve, axis=1) <= 0).all()
    assert (curve >= 0).all()
    assert (model.predict_hazard(patterns(n=199), ages[1:]) > 0).all()


@settings(max_examples=6)
@given(seed=st.integers(0, 10_000), factor=st.sampled_from([0.001, 0.621371, 1000.0]))
def test_the_unit_of_distance_does_not_matter(seed, factor):
    windows, _ = simulate(80, seed, share_unknown=0.2)
    ages = ["entry_km", "good_km", "bad_km"]
    other = windows.assign(**{a: windows[a] * factor for a in ages})
    one = DefectHazard(n_cells=20).fit(windows)
    two = DefectHazard(n_cells=20, curve_scale_km=CURVE_SCALE_KM * factor).fit(other)
    scaled = two.predict_survival(patterns(), AGES * factor)
    assert scaled == pytest.approx(survival(one), abs=1e-4)


@settings(max_examples=5)
@given(seed=st.integers(0, 10_000))
def test_every_bike_twice_leaves_the_curve_and_narrows_the_interval(seed):
    windows, _ = simulate(400, seed)
    again = windows.assign(unit_id="again " + windows["unit_id"])
    one = DefectHazard().fit(windows)
    two = DefectHazard().fit(pd.concat([windows, again], ignore_index=True))
    assert survival(two) == pytest.approx(survival(one), abs=0.03)
    spread = [
        np.std(m.predict_survival(patterns(), AGES, m.draw(300, 1))[:, 3]) for m in (one, two)
    ]
    assert spread[1] < spread[0]


def test_several_sensors_of_one_bike_count_as_one_draw():
    """The same lives, sixteen to a bike by part and fate: the interval must widen."""
    windows, _ = simulate(800, 4)
    order = windows["bad_km"].fillna(0).rank(method="first").astype(int)
    shared = windows.assign(unit_id="U" + (order // 16).astype(str))
    spread = [
        np.std(m.predict_survival(patterns(), AGES, m.draw(400, 1))[:, 3])
        for m in (DefectHazard().fit(windows), DefectHazard().fit(shared))
    ]
    assert spread[1] > 1.5 * spread[0]


def test_coefficients_move_with_the_delay_as_stated():
    """Fitted anew with the delay a tenth shorter and longer, by a prior that leaves no doubt."""
    windows, _ = with_contact(400, 3)
    ages = np.array([10_000.0, 20_000, 30_000, 40_000, 60_000])

    def fitted(rate):
        return DefectHazard(delay_prior=GammaPrior(1e7, 1e7 / rate), tol=1e-9).fit(windows)

    def log_hazard(model, coef):
        return np.log(model.predict_cumulative_hazard(patterns(), ages, coef[None])[0])

    low, middle, high = (fitted(np.exp(step) / 4_000) for step in (-0.2, 0.0, 0.2))
    expected = log_hazard(high, high.coef_) - log_hazard(low, low.coef_)
    stated = [log_hazard(middle, middle.coef_ + step * middle.slopes_[0]) for step in (0.2, -0.2)]
    assert stated[0] - stated[1] == pytest.approx(expected, abs=0.015)
    assert expected[0] < -0.05


def test_an_uncertain_delay_widens_the_draws():
    windows, _ = with_contact(600, 4)
    spread = []
    for events in (2.0, 1e6):
        model = DefectHazard(
            delay_prior=GammaPrior(events, events * 5_000), fewest_road_failures=10_000
        ).fit(windows)
        seen = patterns(part="P", duty=None)
        hazard = model.predict_cumulative_hazard(seen, AGES, model.draw(400, 0))
        spread.append(np.log(hazard[:, 3]).std())
    assert spread[0] > 1.1 * spread[1]
