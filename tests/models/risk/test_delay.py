"""The delay until a defect is heard of: its weights, its posterior, and what silence says."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from scipy.integrate import quad

from models.risk.assumed import DELAY_RATE, BetaPrior, GammaPrior
from models.risk.delay import (
    assumed_delay,
    cut,
    heard_of_itself,
    moved_rate,
    silent_chance,
    silent_km,
)
from models.risk.hazard import DefectHazard
from models.risk.now import defect_chances
from models.risk.score import fit_and_score
from tests.models.risk.published_lives import lives
from tests.models.risk.simulated_fleet import with_contact
from tests.models.risk.test_now import PERFECT, sensors

RATE = 1 / 4_000


@pytest.fixture(scope="module")
def fleet():
    return with_contact(400, 3)


@pytest.fixture(scope="module")
def model(fleet):
    return DefectHazard().fit(fleet[0])


@pytest.mark.parametrize(("near", "far"), [(0, 1_000), (3_000, 20_000), (500, 500.000001)])
def test_mean_silence_and_mean_km_are_integrals(near, far):
    whole = quad(lambda x: np.exp(-RATE * x), near, far)[0]
    first = quad(lambda x: x * np.exp(-RATE * x), near, far)[0]
    near, far = np.array([near]), np.array([far])
    assert silent_chance(near, far, RATE) == pytest.approx(whole / (far - near), rel=1e-6)
    assert silent_km(near, far, RATE) == pytest.approx(first / whole, rel=1e-6)


def test_pieces_cover_the_window_once():
    pieces = cut(np.array([4, 7, 9]), np.array([0.0, 10, 5]), np.array([60_000.0, 12, 5]), 5_000.0)
    for life, low, high in ((4, 0.0, 60_000.0), (7, 10.0, 12.0)):
        own = pieces.life == life
        order = np.argsort(pieces.low[own])
        edges = np.append(pieces.low[own][order], pieces.high[own].max())
        assert edges[0] == low
        assert edges[-1] == high
        assert pieces.high[own][order] == pytest.approx(edges[1:])
    assert 9 not in pieces.life


def test_rate_after_records_is_the_conjugate_one():
    """Gelman et al., BDA3 sec. 2.6: Gamma(a, b) after n events in t is Gamma(a + n, b + t)."""
    assert moved_rate(GammaPrior(3, 5), 4, 2) == 1.0


def test_the_prior_spread_is_that_of_the_log_of_a_gamma():
    drawn = np.random.default_rng(1).gamma(DELAY_RATE.events, size=200_000)
    assert assumed_delay().log_sd == pytest.approx(np.log(drawn).std(), rel=0.01)


def test_the_delay_is_learned_from_enough_road_failures(fleet, model):
    windows, _ = fleet
    assert windows["road_failure"].sum() >= 30
    assert model.delay_.learned
    assert model.delay_.mean_km == pytest.approx(3_000, rel=0.3)
    first = windows["road_failure"].cumsum() <= 29
    few = windows.assign(road_failure=windows["road_failure"] & first)
    alone = DefectHazard().fit(few).delay_
    assert (alone.learned, alone.mean_km, alone.n_road_failures) == (False, 5_000, 29)
    always = DefectHazard(fewest_road_failures=0).fit(few).delay_
    assert always.learned
    assert always.mean_km == pytest.approx(3_000, rel=0.35)


def test_a_fleet_in_contact_is_judged_as_it_is(fleet):
    """Every bike is read to this day: expected defects against true ones, silence left out too."""
    wide, now = with_contact(2_000, 5)
    risk = fit_and_score(wide, now, n_resamples=0, sensitivity=PERFECT).defect_risk
    true = now["truly_defective"].sum()
    assert risk["defect_now"].sum() == pytest.approx(true, rel=0.15)
    assert risk["defect_now_if_silent"].sum() > 1.8 * true


def test_following_lives_to_their_last_contact_gives_the_truer_curve():
    """Complaints bring the defective in early: lives cut at their last good test look worse."""
    wide, _ = with_contact(2_500, 6, spacing_km=15_000.0)
    ages = np.array([20_000.0, 40_000.0])
    one = pd.DataFrame({"part_no": ["P"], "duty": [None], "repaired": [False]})
    true = np.exp(-((ages / 60_000) ** 2))
    right = DefectHazard().fit(wide).predict_survival(one, ages[None])[0]
    cut_short = DefectHazard(delay_prior=None).fit(wide).predict_survival(one, ages[None])[0]
    assert right == pytest.approx(true, abs=0.03)
    assert (true - cut_short).max() > 0.045


def test_one_sensor_by_enumeration(model):
    """Good test at 25,000 km, silent until 30,000, now 31,000: quadrature over the defect's age."""
    frame = sensors(age_now_km=31_000.0, contact_km=30_000.0, entry_km=24_000.0)
    s = BetaPrior(8e8, 2e8)

    def survival(ages):
        return model.predict_survival(sensors(len(ages)), ages)

    age, step = np.arange(0, 30_000, 10.0), 10.0
    gone = survival(age) - survival(age + step)
    stayed = np.exp(-model.delay_.rate_per_km * (30_000 - age - step / 2))
    silent = (gone * np.where(age < 25_000, 0.2, 1.0) * stayed).sum()
    at = survival(np.array([30_000.0, 31_000.0]))
    expected = 1 - at[1] / (at[0] + silent)
    found = defect_chances(model, frame, sensitivity=s, n_resamples=0).chance[0, 0]
    assert found == pytest.approx(expected, rel=0.02)


def test_longer_silence_never_raises_the_risk(model):
    contact = np.linspace(25_000, 60_000, 15)
    frame = sensors(15, age_now_km=60_000.0, contact_km=contact)
    found = defect_chances(model, frame, n_resamples=0).chance
    assert (np.diff(found, axis=0) <= 1e-9).all()
    blank = defect_chances(model, sensors(age_now_km=60_000.0), n_resamples=0).chance
    assert found[0, 0] <= blank[0, 0] + 1e-9


def test_without_a_contact_nothing_changes():
    windows, now = with_contact(200, 8)
    short = ["contact_km", "heard"]
    bare = fit_and_score(windows.drop(columns=short), now.drop(columns="contact_km"))
    blank = fit_and_score(windows.assign(contact_km=np.nan), now.assign(contact_km=np.nan))
    pd.testing.assert_frame_equal(bare.defect_risk, blank.defect_risk)
    assert bare.summary["delay"] is None
    risk = bare.defect_risk
    assert (risk["defect_now"] == risk["defect_now_if_silent"]).all()


def test_the_basis_says_what_is_taken_for_granted(fleet):
    risk = fit_and_score(*fleet, n_resamples=5).defect_risk
    assert risk["basis"].str.contains(r"heard of it up to today, .* \(learned with \d+ road").all()
    few = fleet[0].assign(road_failure=False)
    basis = fit_and_score(few, fleet[1], n_resamples=5).defect_risk["basis"]
    assert basis.str.contains("5,000 km on average (assumed, 0 road failures", regex=False).all()


def test_a_contact_before_the_last_good_test_is_that_test():
    record = lives([0.0, 0.0], [30.0, 20.0], [np.nan, 25.0], contact_km=[10.0, np.nan])
    assert DefectHazard().fit(record).km_watched_ == 55.0


def test_complaints_of_something_else_are_not_taken_for_the_defects_own():
    """100 heard of, 40 by road failure, own complaints as frequent as idle ones: half of 60 count."""
    rate = 1e-3
    own = heard_of_itself(100.0, 40.0, rate, idle_rate=rate * (1 - 40 / 70))
    assert own == pytest.approx(70.0, abs=0.01)
    assert heard_of_itself(100.0, 40.0, rate, idle_rate=0.0) == pytest.approx(100.0)
    assert heard_of_itself(40.0, 40.0, rate, idle_rate=rate) == pytest.approx(40.0)
    assert heard_of_itself(0.0, 0.0, rate, idle_rate=rate) == 0.0
