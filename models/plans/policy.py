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

from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from itertools import chain, pairwise
from typing import NamedTuple

import numpy as np

from models.plans.backwards import Backwards
from models.plans.belief import Test
from models.plans.costs import Prices
from models.plans.course import AT_ONCE, Course, course_of

#: Km ahead between which a sensor is ridden on: fine where work is planned, coarse far ahead.
KM_AHEAD = np.concatenate(
    [
        np.arange(0, 10_000, 500),
        np.arange(10_000, 20_000, 1_000),
        [20_000, 22_000, 25_000, 29_000, 34_000, 40_000, 48_000, 58_000, 70_000, 90_000],
    ]
).astype(float)
#: Threads that price sensors: of more, one waits for another.
SIDE_BY_SIDE = 2


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

    def priced(some: slice) -> tuple[np.ndarray, ...]:
        course = course_of(belief[some], onset[some], test, rate_per_km, km, n_beliefs)
        return _priced(course, prices.take(some))

    parts = [slice(start, start + AT_ONCE) for start in range(0, len(belief), AT_ONCE)]
    return _put_together(priced, parts, km, len(belief))


def along(some: Sequence[Course], prices: Prices, km: np.ndarray = KM_AHEAD) -> Alternatives:
    """The alternatives of sensors whose course was worked out before.

    Parameters
    ----------
    some : sequence of Course
        From ``models.plans.course.courses``.
    prices : Prices
        Of all of them, in their order.
    km : array of shape (points,)
        Of their course.
    """
    ends = np.cumsum([0, *(course.onset.shape[1] for course in some)])
    members = [slice(*pair) for pair in pairwise(ends.tolist())]
    own_prices = [prices.take(own) for own in members]
    return _put_together(_priced, some, km, int(ends[-1]), own_prices)


def _put_together(
    work: Callable[..., tuple[np.ndarray, ...]],
    some: Sequence,
    km: np.ndarray,
    n: int,
    *more: Sequence,
) -> Alternatives:
    """The alternatives of n sensors, some after others, worked out side by side."""
    if not some:
        none = np.zeros((0, len(km)))
        return Alternatives(km, none, none, none, np.zeros(0), np.zeros(0))
    with ThreadPoolExecutor(SIDE_BY_SIDE) as at_once:  # numpy lets other threads run
        return Alternatives(km, *_joined(at_once.map(work, some, *more), n))


def _joined(parts: Iterator[tuple[np.ndarray, ...]], n: int) -> tuple[np.ndarray, ...]:
    """Arrays of n sensors from those of some after others, each let go once it is laid out."""
    first = next(parts)
    whole = tuple(np.empty((n, *array.shape[1:])) for array in first)
    begin = 0
    for part in chain([first], parts):
        end = begin + len(part[0])
        for array, own in zip(whole, part, strict=True):
            array[begin:end] = own
        begin = end
    return whole


def _priced(course: Course, prices: Prices) -> tuple[np.ndarray, ...]:
    back = Backwards(course, prices)
    test_at, best_at = np.empty((2, len(course.km), len(prices.replace)))
    test_at[-1] = best_at[-1] = prices.replace
    for k in reversed(range(len(course.onset))):
        back.back_to(k)
        test_at[k] = back.test_here(k)
        best_at[k] = back.best_here(k, test_at[k])
    replace = np.broadcast_to(prices.replace, test_at.shape)
    path, cost = course.path, course.path.cost(prices)
    ahead = ((cost + path.silent * each).T for each in (test_at, replace, best_at))
    limits = _crossings(course.grid[:, 0], back.riding.T, back.testing.T, prices.replace)
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
