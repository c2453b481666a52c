"""Cheapest policy of replacing, testing and leaving one sensor: a dynamic programme over km.

At each point of a grid of km ahead a sensor may be replaced, tested, or ridden on to the next
point. All that is known of it there is its distance ahead and the chance p of a defect
(``models.plans.belief``), so the cheapest cost from there is a function of both, worked out
backwards. A replaced sensor begins a new life that costs ``usual_per_km`` in the long run
(``models.plans.new_life``); every cost is told as the excess over that, so that a sensor just
fitted counts nothing and lives of unlike length can be compared (relative values: Howard, Dynamic
Programming and Markov Processes (1960), ch. 4, from memory).

The expected cost of any one plan is straight in p. So at each point of the grid of chances the
cheapest plan is kept as its cost for a sound and for a defective sensor, and between two points the
better of their plans is taken: what comes out is the cost of a plan that can be carried out, never
below the least (point-based value iteration: Pineau, Gordon and Thrun, IJCAI 2003, from memory). At
the far end every sensor is replaced.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from models.plans.belief import Step, Test, belief_after_pass, belief_grid, near, riding_step
from models.plans.costs import Prices

#: Km ahead between which a sensor is ridden on: fine where work is planned, coarse far ahead.
KM_AHEAD = np.concatenate(
    [
        np.arange(0, 10_000, 500),
        np.arange(10_000, 20_000, 1_000),
        [20_000, 22_000, 25_000, 29_000, 34_000, 40_000, 48_000, 58_000, 70_000, 90_000],
    ]
).astype(float)
_CHUNK = 2_000


class Plans(NamedTuple):
    """Expected cost of a plan if the sensor is ``sound`` now and if it is ``defective``.

    Of shape (points, n), sensors along the last axis, where numpy is quickest.
    """

    sound: np.ndarray
    defective: np.ndarray

    def at(self, belief: np.ndarray) -> np.ndarray:
        """Expected cost at a chance of a defect."""
        return self.sound + belief * (self.defective - self.sound)

    def where(self, condition: np.ndarray, other: Plans) -> Plans:
        """These plans where the condition holds, the others elsewhere."""
        return Plans(*(np.where(condition, *both) for both in zip(self, other, strict=True)))

    def at_place(self, place: np.ndarray) -> Plans:
        """The plans at these places of the first axis."""
        return Plans(*(np.take(cost, place, axis=0) for cost in self))


class Alternatives(NamedTuple):
    """Expected excess cost of each alternative, by sensor.

    ``test_at``, ``replace_at``, ``best_at`` of shape (n, points): to leave the sensor until that
    point of the grid and, if nothing is heard of it, to test it there, to replace it there, or to
    do there what is cheapest; afterwards always the cheapest. ``test_above`` and
    ``replace_above`` of shape (n,): the chance of a defect now from which testing now is cheaper
    than leaving, and replacing now than testing; blank where it never is.
    """

    km: np.ndarray
    test_at: np.ndarray
    replace_at: np.ndarray
    best_at: np.ndarray
    test_above: np.ndarray
    replace_above: np.ndarray


class Path(NamedTuple):
    """What becomes of sensors that are left alone, each of shape (n, points).

    ``belief`` chance of a defect at each point if nothing was heard; ``silent`` chance of that;
    ``cost`` expected excess cost up to it.
    """

    belief: np.ndarray
    silent: np.ndarray
    cost: np.ndarray


def onset_chances(defect: np.ndarray) -> np.ndarray:
    """Chance that a sound sensor gets the defect within each step.

    Parameters
    ----------
    defect : array of shape (n, points)
        Chance of a defect by each point, 0 to 1, not falling.

    Returns
    -------
    array of shape (n, points - 1)
    """
    sound = np.maximum(1 - defect, 1e-12)
    return np.clip(1 - sound[:, 1:] / sound[:, :-1], 0.0, 1.0)


def alternatives(
    belief: np.ndarray,
    onset: np.ndarray,
    prices: Prices,
    test: Test,
    rate_per_km: float,
    *,
    km: np.ndarray = KM_AHEAD,
    n_beliefs: int = 25,
) -> Alternatives:
    """Expected excess cost of replacing, testing and leaving, now and at each point ahead.

    Parameters
    ----------
    belief : array of shape (n,)
        Chance of a defect now.
    onset : array of shape (n, points - 1)
        Chance that a sound sensor gets the defect within each step, from ``onset_chances``.
    prices : Prices
        Of each sensor.
    test : Test
        How good a test is.
    rate_per_km : float
        Rate at which a defect is heard of.
    km : array of shape (points,)
        Km ahead, rising from 0.
    n_beliefs : int
        Points of the grid of chances.
    """
    n = len(belief)
    parts = []
    for start in range(0, n, _CHUNK):
        some = slice(start, start + _CHUNK)
        parts.append(
            _alternatives(
                belief[some], onset[some], prices.take(some), test, rate_per_km, km, n_beliefs
            )
        )
    if not parts:
        none = np.zeros((0, len(km)))
        return Alternatives(km, none, none, none, np.zeros(0), np.zeros(0))
    return Alternatives(km, *(np.concatenate(part) for part in zip(*parts, strict=True)))


def left_alone(
    belief: np.ndarray, onset: np.ndarray, prices: Prices, rate_per_km: float, km: np.ndarray
) -> Path:
    """Chance of a defect, of silence, and cost so far, of sensors that nobody tests or replaces."""
    path = [(belief, np.ones(len(belief)), np.zeros(len(belief)))]
    for k, length in enumerate(np.diff(km)):
        now, silent, cost = path[-1]
        step = riding_step(onset[:, k], float(length), rate_per_km)
        stays = step.silent(now)
        cost = cost + silent * ((1 - stays) * prices.heard - prices.usual_per_km * step.km(now))
        path.append((step.onwards(now), silent * stays, cost))
    return Path(*(np.stack(part, axis=1) for part in zip(*path, strict=True)))


def best_plans(plans: Plans, belief: np.ndarray) -> Plans:
    """Of the plans kept at the grid of chances, the better of the two next to each chance.

    Parameters
    ----------
    plans : Plans of shape (points, n)
        Kept at ``belief_grid``.
    belief : array of shape (k, n) or (k, 1)
        Chances asked for, of each sensor or of all alike.
    """
    below, above = _next_to(plans, belief)
    return below.where(below.at(belief) <= above.at(belief), above)


def _next_to(plans: Plans, belief: np.ndarray) -> tuple[Plans, Plans]:
    """The plans kept at the points of the grid at or below each chance, and above it."""
    points, n = plans.sound.shape
    low = near(belief, points)
    if belief.shape[1] == 1:  # whole rows: much quicker than one by one
        rows = low[:, 0]
        return plans.at_place(rows), plans.at_place(rows + 1)
    place = low * n + np.arange(n)
    flat = Plans(*(cost.ravel() for cost in plans))
    return flat.at_place(place), flat.at_place(place + n)


def better_place(plans: Plans, belief: np.ndarray) -> np.ndarray:
    """Where, in ``plans`` laid out flat, the better plan for each chance stands, shape (k, n)."""
    points, n = plans.sound.shape
    place = near(belief, points) * n + np.arange(n)
    below, above = (chosen.at(belief) for chosen in _next_to(plans, belief))
    return np.where(below <= above, place, place + n)


def ridden_on(further: Plans, step: Step, prices: Prices) -> Plans:
    """Plans that begin with one step of riding and go on with ``further``, shape (points, n)."""
    sound = (1 - step.stays - step.turns) * prices.heard - prices.usual_per_km * step.sound_km
    defective = (1 - step.keeps) * prices.heard - prices.usual_per_km * step.defective_km
    return Plans(
        sound + step.stays * further.sound + step.turns * further.defective,
        defective + step.keeps * further.defective,
    )


def tested(passed: Plans, prices: Prices, test: Test) -> Plans:
    """Plans that begin with a test and, where it passes, go on with ``passed``."""
    s, f = test
    return Plans(
        prices.test + f * prices.false_alarm + (1 - f) * passed.sound,
        prices.test + s * prices.found + (1 - s) * passed.defective,
    )


def _alternatives(
    belief: np.ndarray,
    onset: np.ndarray,
    prices: Prices,
    test: Test,
    rate: float,
    km: np.ndarray,
    n_beliefs: int,
) -> tuple[np.ndarray, ...]:
    grid, last = belief_grid(n_beliefs)[:, None], len(km) - 1
    path = left_alone(belief, onset, prices, rate, km)
    passed = belief_after_pass(grid, test)
    replace = np.broadcast_to(prices.replace, (n_beliefs, len(belief)))
    replaced = plans = Plans(replace, replace)
    test_at, best_at = np.empty((2, len(km), len(belief)))
    test_at[last] = best_at[last] = prices.replace
    for k in reversed(range(last)):
        step = riding_step(onset[:, k], float(km[k + 1] - km[k]), rate)
        riding = ridden_on(best_plans(plans, step.onwards(grid)), step, prices)
        testing = tested(best_plans(riding, passed), prices, test)
        on, try_it = riding.at(grid), testing.at(grid)
        plans = riding.where(on <= try_it, testing)
        plans = plans.where(np.minimum(on, try_it) <= replace, replaced)
        here = path.belief[:, k]
        after = best_plans(riding, belief_after_pass(here, test)[None, :])
        test_at[k] = tested(after, prices, test).at(here)[0]
        best_at[k] = np.minimum(best_plans(plans, here[None, :]).at(here)[0], test_at[k])
    limits = _crossings(grid[:, 0], on.T, try_it.T, prices.replace)
    by_sensor = (test_at.T, replace[:1].T, best_at.T)
    ahead = (path.cost + path.silent * cost for cost in by_sensor)
    return *ahead, *limits


def _crossings(
    grid: np.ndarray, on: np.ndarray, tested: np.ndarray, replace: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Chances from which acting now is cheaper than riding on, and replacing than testing."""
    acting = np.minimum(tested, replace[:, None])
    return _first_below(grid, acting - on), _first_below(grid, replace[:, None] - tested)


def _first_below(grid: np.ndarray, difference: np.ndarray) -> np.ndarray:
    """First chance at which the difference has fallen to 0, drawn straight; blank if never."""
    below = difference <= 0
    first = below.argmax(axis=1)
    rows = np.arange(len(difference))
    before = np.maximum(first - 1, 0)
    high, low = difference[rows, before], difference[rows, first]
    share = np.where(first > 0, high / np.where(first > 0, high - low, 1.0), 0.0)
    at = grid[before] + share * (grid[first] - grid[before])
    return np.where(below.any(axis=1), at, np.nan)


def at_km(table: np.ndarray, km: np.ndarray, grid_km: np.ndarray = KM_AHEAD) -> np.ndarray:
    """A table over a grid of km at other distances, drawn straight.

    Parameters
    ----------
    table : array of shape (n, points)
        By sensor and point of the grid.
    km : array of shape (n, k)
        Distances asked for, row by row.
    grid_km : array of shape (points,)
        Rising.
    """
    low = np.clip(np.searchsorted(grid_km, km, side="right") - 1, 0, len(grid_km) - 2)
    share = (km - grid_km[low]) / np.diff(grid_km)[low]
    below, above = (np.take_along_axis(table, place, axis=1) for place in (low, low + 1))
    return below * (1 - share) + above * share
