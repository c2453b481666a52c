"""Age replacement and delay-time inspection against published values and closed forms."""

import numpy as np
import pytest
from scipy.optimize import minimize_scalar

from models.plans.belief import Test
from models.plans.new_life import AGES_KM, new_life
from tests.models.plans.pricing import prices

PERFECT = Test(1.0, 0.0)
AT_ONCE = 1e12
_NEVER = 1e9


@pytest.mark.parametrize(
    ("planned", "failed", "shape", "best_age", "cost"),
    [
        # first-order condition h(T) integral of R + R(T) = cf / (cf - cp): Barlow and Proschan,
        # Mathematical Theory of Reliability (1965), ch. 4 sec. 2.1; Weibull of scale 1
        (1.0, 5.0, 2.5, 0.493047, 3.462043),
        (1.0, 10.0, 2.5, 0.354574, 4.750547),
        (1.0, 5.0, 2.0, 0.510655, 4.085242),
    ],
)
def test_age_replacement(planned, failed, shape, best_age, cost):
    ages = np.linspace(0.0, 1.5, 751)
    price = prices(test=_NEVER, replace=planned, found=planned, heard=failed, usual_per_km=0)
    life = new_life((ages**shape)[None], price, PERFECT, AT_ONCE, ages_km=ages, n_beliefs=3)
    assert life.cost_per_km[0] == pytest.approx(cost, rel=5e-5)
    assert life.replace_km[0] == pytest.approx(best_age, abs=1.1 * ages[1])
    assert np.isnan(life.first_test_km[0])


def inspected(every_km, onset_rate, rate, price):
    """Cost per km of a perfect test each so many km, onset and delay exponential.

    A test that passes makes the sensor as new, so each interval is a renewal. Heard of within it
    with the chance of the sum of both times (hypoexponential), found at its end with D.
    """
    sound = np.exp(-onset_rate * every_km)
    found = onset_rate * (sound - np.exp(-rate * every_km)) / (rate - onset_rate)
    heard = 1 - sound - found
    lost = (1 - np.exp(-rate * every_km)) / rate
    km = (1 - sound) / onset_rate
    km += onset_rate / (rate - onset_rate) * ((1 - sound) / onset_rate - lost)
    cost = heard * price.heard[0] + (1 - heard) * price.test[0] + found * price.found[0]
    return cost / km


def test_perfect_tests_of_a_delay_time_model():
    """Exponential onset and delay: the best interval in closed form (renewal-reward)."""
    onset_rate, rate = 1 / 40_000, 1 / 5_000
    price = prices(test=20, replace=2_000, found=150, heard=2_000, usual_per_km=0)
    best = minimize_scalar(
        inspected, bounds=(200, 50_000), args=(onset_rate, rate, price), method="bounded"
    )
    ages = np.arange(0.0, 600_001.0, 500.0)
    life = new_life(onset_rate * ages[None], price, PERFECT, rate, ages_km=ages, n_beliefs=33)
    assert life.cost_per_km[0] == pytest.approx(best.fun, rel=2e-3)
    assert life.first_test_km[0] == pytest.approx(best.x, rel=0.15)  # the cost is flat there
    assert inspected(life.first_test_km[0], onset_rate, rate, price) < 1.005 * best.fun


def test_no_delay_and_no_wear_is_never_worth_replacing():
    """Constant hazard, heard of at once: failures cost hazard x price, whatever is planned."""
    ages = np.arange(0.0, 2_000_001.0, 2_000.0)
    price = prices(test=_NEVER, replace=196, heard=520, usual_per_km=0)
    life = new_life(ages[None] / 50_000, price, PERFECT, AT_ONCE, ages_km=ages, n_beliefs=3)
    assert life.cost_per_km[0] == pytest.approx(520 / 50_000, rel=2e-3)
    assert np.isnan(life.replace_km[0])
    assert life.mean_km[0] == pytest.approx(50_000, rel=2e-3)


def test_a_steeper_wear_and_a_dearer_failure_cost_more():
    hazard = np.stack([(AGES_KM / scale) ** 2.5 for scale in (60_000, 90_000)])
    worn, slow = new_life(hazard, prices(2), Test(0.9, 0.02), 1 / 5_000).cost_per_km
    dear = new_life(hazard, prices(2, heard=2_000), Test(0.9, 0.02), 1 / 5_000).cost_per_km
    assert worn > slow
    assert np.all(dear > [worn, slow])


def test_a_useless_test_is_not_made():
    hazard = ((AGES_KM / 60_000) ** 2.5)[None]
    useless = new_life(hazard, prices(), Test(0.0, 0.0), 1 / 5_000)
    none = new_life(hazard, prices(test=_NEVER), Test(0.9, 0.0), 1 / 5_000)
    assert np.isnan(useless.first_test_km[0])
    assert useless.cost_per_km[0] == pytest.approx(none.cost_per_km[0], rel=1e-6)
