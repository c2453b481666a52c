"""The cost of following the advice under a fit, held to weighing every alternative."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

import models.plans.followed as module
from models.plans.belief import Test
from models.plans.cheapest import cheapest, weigh
from models.plans.followed import Fits, Followed, all_by_fit, asked, followed, work_now
from models.plans.outlook import under_fit
from models.plans.policy import KM_AHEAD, along
from models.plans.saving import cost_of_advice, known_costs
from models.plans.settings import PlanSettings
from tests.models.plans.outlooks import outlook

ACTIONS = np.array(["leave", "test", "replace", "not_enough_known"])


def view(n=160, **changed):
    rng = np.random.default_rng(3)
    belief = rng.beta(0.4, 4.0, n)
    found = outlook(rng.uniform(0, 120_000, n), belief=belief, km_per_day=rng.uniform(0.2, 300, n))
    found.onset[::17] = np.nan  # not known
    return replace(found, **changed)


def one_fit(of, rng):
    """The chances of all sensors, were another fit true, and the rate at which they are heard of."""
    hazard = np.hstack([np.zeros((len(of.onset), 1)), -np.log1p(-of.onset).cumsum(axis=1)])
    factor = rng.lognormal(0, 0.5, (len(of.onset), 1))
    now = of.sensors["defect_now"].to_numpy(float)[:, None] ** factor
    chances = 1 - (1 - now) * np.exp(-hazard * factor)
    return chances, of.heard_per_km * rng.lognormal(0, 0.5)


def fits(of):
    """Some fits of the sensors whose chances are known, in another order."""
    rng = np.random.default_rng(0)
    chances, rates = zip(*(one_fit(of, rng) for _ in range(3)), strict=True)
    named = rng.permutation(of.known)
    ids = of.sensors["sensor_id"].to_numpy()[named]
    return Fits(ids, KM_AHEAD, np.stack(chances)[:, named], np.array(rates)), chances


@pytest.mark.parametrize("test", [Test(0.9, 0.02), Test(0.55, 0.3), Test(0.2, 0.6)])
def test_it_is_what_weighing_all_alternatives_tells(monkeypatch, test):
    monkeypatch.setattr(module, "AT_ONCE", 13)
    of, settings = view(test=test), PlanSettings()
    weighed = weigh(of, settings)
    action = pd.Series(np.resize(ACTIONS, len(of.sensors)), index=of.sensors["sensor_id"])
    some = asked(of, weighed, action, settings)
    given, chances = fits(of)
    found = followed(of, weighed, some, given)
    for place, rate in enumerate(given.heard_per_km):
        fit = under_fit(of, KM_AHEAD, chances[place], rate)
        # what a new sensor costs in the long run stays as estimated
        whole = weighed._replace(found=along(fit.courses, weighed.prices))
        costs = cheapest(fit, whole, settings)
        costs = costs[costs["cheapest"].notna()]
        assert np.array_equal(found.advised[place], cost_of_advice(costs, action).to_numpy())
        assert np.array_equal(found.nothing[place], costs["leave"].to_numpy())


def test_sensors_much_alike_are_looked_at_together(monkeypatch):
    monkeypatch.setattr(module, "AT_ONCE", 40)
    of, settings = view(), PlanSettings()
    weighed = weigh(of, settings)
    action = pd.Series("leave", index=of.sensors["sensor_id"])
    some = asked(of, weighed, action, settings)
    places = np.concatenate([each.places for each in some])
    assert np.array_equal(np.sort(places), np.arange(len(of.known)))
    looked_at = [module._looked_at(of, weighed, each) for each in some]
    assert np.all(np.diff(np.concatenate(looked_at)) >= 0)


def by_estimate(of, weighed, action, settings):
    return Followed(*known_costs(cheapest(of, weighed, settings), action))


def test_those_followed_are_spread_over_their_chances():
    chance = np.random.default_rng(1).permutation(np.arange(700) / 700)
    places = np.arange(0, 700, 2)
    some = module._evenly(places, chance, 50)
    assert len(set(some)) == 50
    assert set(some) <= set(places)
    assert np.array_equal(np.sort(some), some)
    ranks = np.searchsorted(np.sort(chance[places]), np.sort(chance[some]))
    assert set(np.diff(ranks)) == {7}
    assert module._evenly(places, chance, 350) is places


def test_some_followed_tell_nearly_what_all_would():
    """Though each sensor's chances change as they will: in a fit they move together."""
    of, settings = view(n=1_500), PlanSettings()
    weighed = weigh(of, settings)
    action = pd.Series(np.resize(ACTIONS, len(of.sensors)), index=of.sensors["sensor_id"])
    estimate, now = by_estimate(of, weighed, action, settings), work_now(of, weighed, action)
    given, _ = fits(of)
    whole, part = (
        followed(of, weighed, asked(of, weighed, action, settings, most=most), given)
        for most in (1_500, 150)
    )
    assert np.isfinite(whole.advised).all()
    assert np.isfinite(part.advised).sum(axis=1).tolist() == [450] * 3
    seen = np.isfinite(part.advised)
    assert np.array_equal(part.advised[seen], whole.advised[seen])
    exact, near = (all_by_fit(found, estimate, now) for found in (whole, part))
    for found, told, sums in zip(exact, near, whole, strict=True):
        assert np.allclose(found, sums.sum(axis=1), rtol=1e-12)
        assert np.abs(told / found - 1).max() < 0.005


def test_without_sensors_nothing_is_asked():
    of, settings = outlook(np.zeros(0)), PlanSettings()
    weighed = weigh(of, settings)
    none = pd.Series([], index=pd.Index([], dtype="str"), dtype="str")
    some = asked(of, weighed, none, settings)
    assert some == ()
    no_fit = Fits(np.zeros(0, object), KM_AHEAD, np.zeros((2, 0, len(KM_AHEAD))), np.ones(2))
    found = followed(of, weighed, some, no_fit)
    assert found.advised.shape == (2, 0)
    of_none = Followed(np.zeros(0), np.zeros(0))
    assert all_by_fit(found, of_none, work_now(of, weighed, none)).nothing.tolist() == [0, 0]
