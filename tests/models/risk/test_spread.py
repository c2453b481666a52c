"""How far the coefficients may lie is worked out some lives at a time, whatever their number."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from models.risk import expectation, grid_parts, spread
from models.risk.assumed import GammaPrior
from models.risk.delay import Delay
from models.risk.expectation import Expected, Records
from models.risk.hazard import DefectHazard
from models.risk.lives import checked_lives, rows_of
from tests.models.risk.wearing_fleet import simulate_wearing_fleet
from tests.models.risk.wearing_world import World

PRIOR = GammaPrior(3.0, 15_000.0)


@pytest.fixture(scope="module")
def windows():
    return simulate_wearing_fleet(60, 2, World(season=0.4)).windows


def test_it_is_the_same_however_many_lives_are_looked_at_at_a_time(windows, monkeypatch):
    """Spans and windows of one life stand in several turns."""
    assert not windows["age_known"].astype(bool).all()
    usual = DefectHazard().fit(windows)
    assert usual.n_season_ == 1
    assert np.abs(usual.covariance_).max() > 0
    assert np.abs(usual.slopes_).max() > 0
    monkeypatch.setattr(grid_parts, "_SPANS_AT_ONCE", 7)
    monkeypatch.setattr(expectation, "_ROWS_AT_ONCE", 5)
    by_parts = DefectHazard().fit(windows)
    for name in ("covariance_", "coef_", "slopes_"):
        np.testing.assert_allclose(
            getattr(by_parts, name), getattr(usual, name), rtol=1e-9, atol=1e-12
        )


def test_of_lives_of_one_row_nothing_is_lost_not_even_by_rounding():
    rng = np.random.default_rng(4)
    several = np.array([3, 3, 3, 3])
    score, weight = rng.normal(size=(44, 3)) * 1e3, rng.uniform(size=44)
    life = np.concatenate([np.arange(3), several, np.arange(4, 41)])
    times = np.where(life == 3, weight[3:7].sum(), weight)
    alone = spread.mixing(several, times[3:7], score[3:7], weight[3:7])
    assert np.abs(alone).max() > 0
    assert (spread.mixing(life, times, score, weight) == alone).all()
    none = life != 3
    assert (spread.mixing(life[none], times[none], score[none], weight[none]) == 0).all()


def test_of_two_rows_that_may_be_true_their_spread_is_lost():
    """By hand: with the weight w on a score a and 1 - w on b, w (1 - w) (a - b) squared.

    Twice that of a life that counts twice.
    """
    life, times = np.array([0, 1, 1, 2, 2]), np.array([1.0, 2, 2, 1, 1])
    score = np.array([[9.0], [2.0], [-1.0], [4.0], [3.0]])
    weight = times * np.array([1.0, 0.3, 0.7, 0.5, 0.5])
    lost = spread.mixing(life, times, score * weight[:, None], weight)
    assert lost == pytest.approx(np.array([[2 * 0.3 * 0.7 * 3.0**2 + 0.5 * 0.5 * 1.0**2]]))


def covariance_of(windows) -> np.ndarray:
    """At some hazard, of columns by cell alone."""
    lives = checked_lives(windows)
    rows = rows_of(lives, np.array([5e3, 2e4, 5e4]), delay_km=5e3, sensitivity=0.9)
    records = Records(rows, np.zeros(len(rows.life), dtype=int), np.linspace(0.0, 4e5, 41))
    hazard = 1e-5 * (1 + records.pair_cell / 20)
    design = np.cos(np.outer(records.pair_cell, [0.0, 0.1, 0.3]))
    weight = records.expect(hazard).weight
    return spread.covariance(records, hazard, design, weight, 20)[0]


def test_a_life_that_counts_twice_is_as_two_of_the_same_bike(windows):
    """Their scores are one draw either way, and their records tell the same."""
    some = windows[windows["life_id"].isin(windows["life_id"][::3])]
    two = covariance_of(pd.concat([windows, some], ignore_index=True))
    twice = covariance_of(windows.assign(times=1.0 + windows["life_id"].isin(some["life_id"])))
    np.testing.assert_allclose(twice, two, rtol=1e-9)
    assert np.abs(two - covariance_of(windows)).max() > 1e-3


def test_the_delay_s_spread_is_the_curvature_of_its_log_likelihood():
    """A parabola in the logarithm of the rate, whose curvature is known."""

    class Parabola:
        rate = 0.0

        def set_delay(self, rate):
            self.rate = rate

        def expect(self, hazard):
            away = np.log(self.rate / 2e-4)
            told = -80.0 * away**2 / 2 - spread.log_prior(PRIOR, self.rate)
            return Expected(hazard, hazard, told, hazard)

    records, delay = Parabola(), Delay(2e-4, 1.0, True, 40.0, 40)
    found = spread.delay_spread(records, np.zeros(1), delay, PRIOR)
    assert found.log_sd == pytest.approx(1 / np.sqrt(80.0), rel=1e-6)
    assert records.rate == delay.rate_per_km
    assert found == replace(delay, log_sd=found.log_sd)
