from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import beta

from models.frames import FrameError
from models.risk import sensitivity
from models.risk.assumed import TEST_SENSITIVITY, BetaPrior
from models.risk.delay import Delay
from models.risk.hazard import DefectHazard
from models.risk.sensitivity import (
    SENSITIVITY_EVIDENCE,
    TEST_HISTORY,
    WITHIN_KM,
    learned_sensitivity,
)
from tests.models.risk.published_lives import lives as windows_of

LIGHT = BetaPrior(1.8, 0.2)


def misjudged_fleet(
    bikes, seed, sensitivity, *, delay_km=5_000.0, spacing_km=6_000.0, followed=True
):
    """Tests and lives of new sensors, Weibull of shape 2 and 60,000 km, tests that miss.

    A defect is heard of after an exponential delay, half the times by a road failure, and is then
    confirmed; due tests come at 0.1 to 1.7 times their spacing.
    """
    rng = np.random.default_rng([seed, 11])
    ends, tests = [], []
    for bike in range(bikes):
        name = f"S{bike}"
        defect = 60_000 * rng.weibull(2.0)
        heard = defect + rng.exponential(delay_km)
        now = rng.uniform(10_000, 80_000)
        good, bad, by_ear = 0.0, np.nan, False
        for turn, km in enumerate(np.cumsum(spacing_km * rng.uniform(0.1, 1.7, 200))):
            if heard < min(km, now):
                bad, by_ear = heard, True
                break
            if km > now:
                break
            found = km >= defect and rng.random() < sensitivity
            tests.append((name, f"{name}-{turn}", km, found, False))
            if found:
                bad = km
                break
            good = km
        contact = np.nan if bad == bad or not followed else now
        ends.append((good, bad, by_ear and rng.random() < 0.5, by_ear, contact))
    good, bad, road, heard, contact = map(np.array, zip(*ends, strict=True))
    windows = windows_of(0.0, good, bad, road_failure=road, heard=heard, contact_km=contact)
    return pd.DataFrame(tests, columns=TEST_HISTORY.names), windows


@pytest.fixture(scope="module")
def model():
    return DefectHazard().fit(misjudged_fleet(300, 1, 0.9)[1])


def with_delay(model, rate, log_sd=0.0):
    """The same model with a delay of which all is known."""
    other = DefectHazard().set_params(**model.get_params())
    other.__dict__.update(vars(model))
    other.delay_ = Delay(rate, log_sd, False, 0.0, 0)
    return other


def one_life(passes, bad_km, *, found_km=(), **columns):
    windows = windows_of(0.0, [max(passes)], [bad_km], **columns)
    rows = [("S0", f"T{km}", float(km), False, False) for km in passes]
    rows += [("S0", f"F{km}", float(km), True, False) for km in found_km]
    return pd.DataFrame(rows, columns=TEST_HISTORY.names), windows


def chance_there(model, prior=TEST_SENSITIVITY, **life):
    learned = learned_sensitivity(*one_life(**life), model, prior=prior)
    row = learned.evidence[learned.evidence["kind"].ne("found")].iloc[0]
    return row["chance_defect_was_there"]


def test_the_chance_that_it_was_there_is_that_worked_out_by_hand(model):
    """Pass at 30,000, the one before at 24,000, a road failure at 31,000 km; s held at 0.8."""
    rate, s = 1 / 4_000, 0.8
    fixed = with_delay(model, rate)
    life = windows_of(0.0, [0.0], [np.nan]).iloc[:1]

    def came(low, high):
        age = np.linspace(low, high, 2_001)
        survival = fixed.predict_survival(life, age[None])[0]
        silent = np.exp(-rate * (31_000 - (age[1:] + age[:-1]) / 2))
        return -np.diff(survival) @ silent

    before = came(24_000, 30_000) * (1 - s) + came(0, 24_000) * (1 - s) ** 2
    expected = before / (before + came(30_000, 31_000))
    found = chance_there(
        fixed,
        BetaPrior(1e6 * s, 1e6 * (1 - s)),
        passes=[24_000, 30_000],
        bad_km=31_000.0,
        road_failure=True,
    )
    assert found == pytest.approx(expected, rel=0.02)


def test_a_defect_found_where_it_was_passed_was_there(model):
    same = {"passes": [30_000], "bad_km": 30_000.0}
    assert chance_there(model, **same) == 1
    learned = learned_sensitivity(*one_life(**same), model)
    expected = TEST_SENSITIVITY.after(0, 1)
    assert learned.posterior.mean == pytest.approx(expected.mean, abs=1e-3)
    assert learned.posterior.hits == pytest.approx(expected.hits, rel=0.02)


def test_the_sooner_after_the_pass_the_likelier_it_was_there(model):
    km = (30_100, 30_500, 31_000, 32_000)
    there = [chance_there(model, passes=[24_000, 30_000], bad_km=float(b)) for b in km]
    assert there == sorted(there, reverse=True)


def test_where_every_defect_is_heard_of_at_once_it_came_after_the_pass(model):
    quick = with_delay(model, 1.0)
    assert chance_there(quick, passes=[30_000], bad_km=31_000.0, road_failure=True) < 1e-6


def test_with_a_perfect_test_it_came_after_the_pass(model):
    sure = BetaPrior(1e7, 1e-1)
    assert chance_there(model, sure, passes=[30_000], bad_km=31_000.0) < 0.01


@pytest.mark.parametrize(
    ("columns", "found_km", "kind"),
    [
        ({"road_failure": True, "heard": True}, (), "road_failure"),
        ({"heard": True}, (), "complaint"),
        ({}, (31_000,), "retest"),
        ({}, (), "opened"),
    ],
)
def test_each_kind_of_evidence_is_named(model, columns, found_km, kind):
    tests, windows = one_life([30_000], 31_000.0, found_km=found_km, **columns)
    evidence = learned_sensitivity(tests, windows, model).evidence
    row = evidence.set_index("session_id").loc["T30000"]
    assert row["kind"] == kind
    assert row["km_since_test"] == 1_000
    assert row["misses"] == row["chance_defect_was_there"] > 0


def test_without_evidence_the_assumed_sensitivity_stands(model):
    late = one_life([30_000], 30_001.0 + WITHIN_KM, road_failure=True)
    sound = windows_of(0.0, [30_000.0], [np.nan], contact_km=[90_000.0])
    for tests, windows in (late, (late[0], sound), (late[0], late[1].iloc[:0])):
        learned = learned_sensitivity(tests, windows.assign(contact_km=np.nan), model)
        assert learned.posterior == TEST_SENSITIVITY
        assert learned.evidence.empty
    assert learned_sensitivity(*late, None).posterior == TEST_SENSITIVITY
    empty = learned_sensitivity(TEST_HISTORY.empty(), late[1], model)
    assert list(empty.evidence.columns) == SENSITIVITY_EVIDENCE.names


def test_passes_and_confirmed_fails_alone_do_not_move_it(model):
    """Outcomes of a fleet of which nothing is heard between tests well apart."""
    tests, windows = misjudged_fleet(200, 3, 0.5, delay_km=1e9, followed=False)
    apart = tests.groupby("life_id")["test_km"].diff().fillna(9e9) > WITHIN_KM
    windows = windows[windows["life_id"].isin(tests["life_id"][apart].unique())]
    near = tests.loc[~apart, "life_id"].unique()
    tests, windows = (frame[~frame["life_id"].isin(near)] for frame in (tests, windows))
    silent = with_delay(model, 1e-12)
    found = learned_sensitivity(tests, windows, silent).posterior
    assert found.mean == pytest.approx(TEST_SENSITIVITY.mean, abs=0.002)


def test_a_hit_counts_as_the_chance_that_a_miss_would_have_come_to_light(model):
    """By being heard of within 2,000 km; no retest comes so soon, and the bike is still followed."""
    fixed = with_delay(model, 1 / 4_000)
    tests, windows = one_life([20_000], 26_000.0, found_km=[26_000])
    learned = learned_sensitivity(tests, windows, fixed)
    hit = -np.expm1(-WITHIN_KM / 4_000)
    assert learned.evidence["hits"].tolist() == pytest.approx([hit])
    assert learned.posterior.mean == pytest.approx(TEST_SENSITIVITY.after(hit, 0).mean, abs=1e-3)


def test_prompted_and_unclear_tests_do_not_count(model):
    tests, windows = one_life([30_000], 30_500.0, road_failure=True)
    for other in (tests.assign(prompted=True), tests.assign(found=None)):
        assert learned_sensitivity(other, windows, model).posterior == TEST_SENSITIVITY


@pytest.mark.parametrize("truth", [0.5, 0.7])
def test_the_posterior_is_nearer_the_truth_where_there_is_evidence(truth):
    """The assumed mean is 0.9; its 90 % range reaches down to 0.77."""
    means = []
    for seed in range(3):
        tests, windows = misjudged_fleet(400, 20 + seed, truth)
        fitted = DefectHazard(n_cells=20).fit(windows)
        means.append(learned_sensitivity(tests, windows, fitted).posterior.mean)
    assert abs(np.mean(means) - truth) < abs(TEST_SENSITIVITY.mean - truth) - 0.02


def test_a_truth_that_was_assumed_stays():
    found = []
    for seed in range(3):
        tests, windows = misjudged_fleet(400, 30 + seed, 0.9)
        fitted = DefectHazard(n_cells=20).fit(windows)
        found.append(learned_sensitivity(tests, windows, fitted).posterior)
    assert np.mean([posterior.mean for posterior in found]) == pytest.approx(0.9, abs=0.05)
    for posterior in found:
        low, high = beta(posterior.hits, posterior.misses).ppf([0.05, 0.95])
        assert low < 0.9 < high


@settings(max_examples=15)
@given(st.integers(1, 6), st.floats(10, 1_900), st.floats(1e-5, 1e-3))
def test_each_pass_followed_by_a_defect_lowers_it(model, count, km, rate):
    fixed = with_delay(model, rate)
    means = []
    for many in (count, count + 1):
        bad = np.full(many, 30_000.0 + km)
        windows = windows_of(0.0, np.full(many, 30_000.0), bad, road_failure=True)
        rows = [(f"S{k}", f"T{k}", 30_000.0, False, False) for k in range(many)]
        tests = pd.DataFrame(rows, columns=TEST_HISTORY.names)
        learned = learned_sensitivity(tests, windows, fixed, prior=LIGHT)
        assert learned.evidence["misses"].between(0, 1).all()
        means.append(learned.posterior.mean)
    assert means[1] <= means[0] <= LIGHT.mean + 1e-3


def test_a_delay_less_sure_leaves_the_sensitivity_less_sure(model):
    tests, windows = misjudged_fleet(300, 5, 0.7)
    fitted = DefectHazard().fit(windows)
    fitted.delay_ = replace(fitted.delay_, learned=False)
    spread = []
    for log_sd in (0.0, 0.8):
        fitted.delay_ = replace(fitted.delay_, log_sd=log_sd)
        found = learned_sensitivity(tests, windows, fitted).posterior
        spread.append(beta(found.hits, found.misses).std())
    assert spread[0] < spread[1]


@pytest.mark.parametrize("learned", [False, True])
def test_it_is_the_same_however_many_lives_are_looked_at_at_a_time(model, learned, monkeypatch):
    tests, windows = misjudged_fleet(200, 11, 0.6)
    there = windows.index[windows["bad_km"].notna() & (windows["good_km"] > 0)][-9:]
    windows.loc[there, "bad_km"] = windows.loc[there, "good_km"]
    delayed = with_delay(model, 1 / 5_000, 0.3)
    delayed.delay_ = replace(delayed.delay_, learned=learned)
    usual = learned_sensitivity(tests, windows, delayed)
    missed = usual.evidence.query("misses > 0")
    assert 0 < missed["km_since_test"].eq(0).sum() < len(missed) - 3
    monkeypatch.setattr(sensitivity, "_LIVES_AT_ONCE", 3)
    by_parts = learned_sensitivity(tests, windows, delayed)
    assert by_parts.posterior.hits == pytest.approx(usual.posterior.hits, rel=1e-9)
    assert by_parts.posterior.misses == pytest.approx(usual.posterior.misses, rel=1e-9)
    pd.testing.assert_frame_equal(by_parts.evidence, usual.evidence, rtol=1e-9)


def test_a_missing_column_is_named(model):
    tests, windows = one_life([30_000], 31_000.0)
    with pytest.raises(FrameError, match="prompted"):
        learned_sensitivity(tests.drop(columns="prompted"), windows, model)
