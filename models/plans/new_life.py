"""What a new sensor costs per km in the long run, tested and replaced at its best times.

A life ends with a planned replacement, with one after a test, or with one after the defect was
heard of; then the next begins. The least expected cost of a life over its expected km
(renewal-reward; Barlow and Proschan, Mathematical Theory of Reliability (1965), ch. 4, from memory)
is the rate g at which the cheapest life costs g times its km; it is found by Newton's steps on g
(Dinkelbach, Management Science 13 (1967) 492, from memory).
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from models.plans.belief import Test, belief_after_pass, belief_grid, riding_step
from models.plans.costs import Prices
from models.plans.policy import Plans, better_place, ridden_on, tested

#: Ages between which a new sensor is ridden on.
AGES_KM = np.concatenate(
    [np.arange(0, 40_000, 1_000), np.arange(40_000, 100_000, 2_500), np.arange(1e5, 2.1e5, 1e4)]
).astype(float)
_TURNS = 30
_TOLERANCE = 1e-7


class NewLife(NamedTuple):
    """By kind of sensor, shape (n,): cost per km, mean km of a life, and its plan.

    ``first_test_km`` age at the first test and ``replace_km`` age at which it is replaced if no
    test or word came before; blank where the cheapest plan holds none.
    """

    cost_per_km: np.ndarray
    mean_km: np.ndarray
    first_test_km: np.ndarray
    replace_km: np.ndarray


class _Course(NamedTuple):
    """Of the cheapest life at a given g: excess cost, km, and what is done by age and chance."""

    cost: np.ndarray
    km: np.ndarray
    tests: np.ndarray
    replaces: np.ndarray


def new_life(
    cumulative_hazard: np.ndarray,
    prices: Prices,
    test: Test,
    rate_per_km: float,
    *,
    ages_km: np.ndarray = AGES_KM,
    n_beliefs: int = 25,
) -> NewLife:
    """Least cost per km of sensors fitted new.

    Parameters
    ----------
    cumulative_hazard : array of shape (n, ages)
        Of the defect, from 0 at age 0.
    prices : Prices
        Of each kind; ``usual_per_km`` is not looked at.
    test : Test
        How good a test is.
    rate_per_km : float
        Rate at which a defect is heard of.
    ages_km : array of shape (ages,)
        Rising from 0; at the last every sensor is replaced.
    n_beliefs : int
        Points of the grid of chances.
    """
    onset = -np.expm1(-np.diff(cumulative_hazard, axis=1))
    usual = _run_until_heard(cumulative_hazard, prices, rate_per_km, ages_km)
    least = np.full(len(onset), np.inf)
    for _ in range(_TURNS):
        priced = prices._replace(usual_per_km=usual)
        course = _cheapest_life(onset, priced, test, rate_per_km, ages_km, n_beliefs)
        # what the plan just found costs per km: each is one that can be carried out
        found = usual + course.cost / course.km
        settled = np.all(found >= least * (1 - _TOLERANCE))
        usual = least = np.minimum(found, least)
        if settled:
            break
    tests, replaces = _along(course, onset, rate_per_km, ages_km)
    return NewLife(usual, course.km, _first(tests, ages_km), _first(replaces, ages_km))


def _run_until_heard(
    cumulative_hazard: np.ndarray, prices: Prices, rate: float, ages_km: np.ndarray
) -> np.ndarray:
    """Cost per km of sensors that nobody tests or replaces before word: where the search begins."""
    sound = np.exp(-cumulative_hazard)
    sound_km = ((sound[:, 1:] + sound[:, :-1]) / 2 * np.diff(ages_km)).sum(axis=1)
    return prices.heard / (sound_km + 1 / rate)


def _first(done: np.ndarray, ages_km: np.ndarray) -> np.ndarray:
    return np.where(done.any(axis=1), ages_km[:-1][done.argmax(axis=1)], np.nan)


def _cheapest_life(
    onset: np.ndarray, prices: Prices, test: Test, rate: float, ages_km: np.ndarray, n_beliefs: int
) -> _Course:
    """Backwards over ages: the cheapest life at the rate given, and its mean km."""
    grid = np.broadcast_to(belief_grid(n_beliefs)[:, None], (n_beliefs, len(onset)))
    passed = belief_after_pass(grid, test)
    flat = np.ones(len(onset))
    distance = Prices(*([0 * flat] * 5), usual_per_km=-flat)
    replace = np.broadcast_to(prices.replace, grid.shape)
    replaced, ended = Plans(replace, replace), Plans(0 * grid, 0 * grid)
    plans, run = replaced, ended
    tests, replaces = [], []
    for k in reversed(range(len(ages_km) - 1)):
        step = riding_step(onset[:, k], float(ages_km[k + 1] - ages_km[k]), rate)
        riding, run_on = (
            ridden_on(chosen, step, price)
            for chosen, price in zip(
                _chosen(plans, run, step.onwards(grid)), (prices, distance), strict=True
            )
        )
        after, run_after = _chosen(riding, run_on, passed)
        testing, run_tested = tested(after, prices, test), tested(run_after, distance, test)
        tests.append(testing.at(grid) < riding.at(grid))
        plans, run = testing.where(tests[-1], riding), run_tested.where(tests[-1], run_on)
        replaces.append(replace < plans.at(grid))
        plans, run = replaced.where(replaces[-1], plans), ended.where(replaces[-1], run)
    # a life begins by being ridden: a sensor just fitted is neither tested nor replaced
    done = (np.stack(each[::-1]) for each in (tests, replaces))
    return _Course(riding.sound[0], run_on.sound[0], *done)


def _chosen(plans: Plans, run: Plans, belief: np.ndarray) -> tuple[Plans, Plans]:
    """The better of the plans next to each chance, and the km that go with it."""
    place = better_place(plans, belief)
    costs, km = (Plans(*(np.take(c, place) for c in kept)) for kept in (plans, run))
    return costs, km


def _along(
    course: _Course, onset: np.ndarray, rate: float, ages_km: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """What is done at each age to a sensor that nothing was heard of, until its first test."""
    belief, rows = np.zeros(len(onset)), np.arange(len(onset))
    is_tested, is_replaced = [], []
    for k, length in enumerate(np.diff(ages_km)):
        place = np.round(np.sqrt(belief) * (course.tests.shape[1] - 1)).astype(int)
        is_replaced.append(course.replaces[k, place, rows] & (k > 0))
        is_tested.append(course.tests[k, place, rows] & ~is_replaced[-1] & (k > 0))
        belief = riding_step(onset[:, k], float(length), rate).onwards(belief)
    return np.stack(is_tested, axis=1), np.stack(is_replaced, axis=1)
