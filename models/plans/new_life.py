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

from models.plans.belief import Step, Test, belief_after_pass, belief_grid, near, riding_step
from models.plans.costs import Prices

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
    ridden = _ridden(onset, rate_per_km, ages_km, n_beliefs)
    for _ in range(_TURNS):
        course = _cheapest_life(ridden, prices._replace(usual_per_km=usual), test)
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


class _Ridden(NamedTuple):
    """What no price moves, by age: ``steps``, and after each, from every chance, the chance of a
    defect ``onwards`` and the place of the plan kept at or below it, shape (chances, n).
    """

    grid: np.ndarray
    steps: list[Step]
    onwards: list[np.ndarray]
    at: list[np.ndarray]


def _ridden(onset: np.ndarray, rate: float, ages_km: np.ndarray, n_beliefs: int) -> _Ridden:
    grid, each = belief_grid(n_beliefs)[:, None], np.arange(len(onset))
    lengths = np.diff(ages_km).tolist()
    steps = [riding_step(onset[:, k], length, rate) for k, length in enumerate(lengths)]
    onwards = [step.onwards(grid) for step in steps]
    at = [near(chance, n_beliefs) * len(onset) + each for chance in onwards]
    return _Ridden(grid, steps, onwards, at)


def _cheapest_life(ridden: _Ridden, prices: Prices, test: Test) -> _Course:
    """Backwards over ages: the cheapest life at the rate given, and its mean km.

    Plans are kept as money and km, each for a sound and a defective sensor: (2, 2, chances, n).
    """
    grid, n = ridden.grid, len(prices.replace)
    passed = belief_after_pass(grid, test)
    passed_at = near(passed, len(grid)) * n + np.arange(n)
    ended = np.zeros((2, 2, 1, n))
    ended[0] = prices.replace
    plans = np.broadcast_to(ended, (2, 2, len(grid), n)).copy()
    tests, replaces = [], []
    for k in reversed(range(len(ridden.steps))):
        chosen = _chosen(plans, ridden.at[k], ridden.onwards[k])
        riding = _ridden_on(chosen, ridden.steps[k], prices)
        testing = _tested(_chosen(riding, passed_at, passed), prices, test)
        on, tried = _cost(riding, grid), _cost(testing, grid)
        tests.append(tried < on)
        replaces.append(prices.replace < np.minimum(on, tried))
        plans = np.where(replaces[-1], ended, np.where(tests[-1], testing, riding))
    # a life begins by being ridden: a sensor just fitted is neither tested nor replaced
    done = (np.stack(each[::-1]) for each in (tests, replaces))
    return _Course(riding[0, 0, 0], riding[1, 0, 0], *done)


def _cost(plans: np.ndarray, belief: np.ndarray) -> np.ndarray:
    sound, defective = plans[0]
    return sound + belief * (defective - sound)


def _chosen(plans: np.ndarray, at: np.ndarray, belief: np.ndarray) -> np.ndarray:
    """The better of the plans kept next to each chance, by money, and the km that go with it."""
    flat = plans.reshape(4, -1)
    n = plans.shape[-1]
    below, above = (_cost(flat[:2].take(place, axis=1)[None], belief) for place in (at, at + n))
    place = np.where(below <= above, at, at + n)
    return flat.take(place, axis=1).reshape(plans.shape)


def _ridden_on(plans: np.ndarray, step: Step, prices: Prices) -> np.ndarray:
    """Plans that begin with one step of riding and go on with ``plans``."""
    sound, defective = plans[:, 0], plans[:, 1]
    km = np.stack([step.sound_km, np.full_like(step.sound_km, step.defective_km)])
    word = np.stack([1 - step.stays - step.turns, np.full_like(step.stays, 1 - step.keeps)])
    first = np.stack([word * prices.heard - prices.usual_per_km * km, km])[:, :, None]
    found = np.empty(plans.shape)
    found[:, 0] = first[:, 0] + step.stays * sound + step.turns * defective
    found[:, 1] = first[:, 1] + step.keeps * defective
    return found


def _tested(passed: np.ndarray, prices: Prices, test: Test) -> np.ndarray:
    """Plans that begin with a test and, where it passes, go on with ``passed``."""
    s, f = test
    found = np.empty(passed.shape)
    np.multiply(passed[:, 0], 1 - f, out=found[:, 0])
    np.multiply(passed[:, 1], 1 - s, out=found[:, 1])
    found[0, 0] += prices.test + f * prices.false_alarm
    found[0, 1] += prices.test + s * prices.found
    return found


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
