"""What becomes of sensors as they are ridden on, whatever that costs.

Worked out once for sensors whose chances are known, and then priced again and again: no cost or
level moves any of it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from models.plans.belief import Step, Test, belief_grid, near, riding_step
from models.plans.costs import Prices

#: Sensors followed at a time: few enough to stay in the processor's cache.
_AT_ONCE = 1_000


class Path(NamedTuple):
    """What becomes of sensors that are left alone, each of shape (points, n).

    ``belief`` chance of a defect at each point if nothing was heard; ``silent`` chance of that;
    ``run`` mean km run up to it before anything is heard.
    """

    belief: np.ndarray
    silent: np.ndarray
    run: np.ndarray

    def cost(self, prices: Prices) -> np.ndarray:
        """Expected excess cost up to each point."""
        return (1 - self.silent) * prices.heard - prices.usual_per_km * self.run


@dataclass(frozen=True)
class Course:
    """Some sensors' course over a grid of km ahead.

    ``onset`` chance that a sound one gets the defect within each step, shape (steps, n);
    ``grid`` chances of a defect at which costs are worked out, shape (chances, 1); ``onwards`` and
    ``place``, of shape (steps, chances, n): the chance after each step of riding from each of them
    if nothing was heard, and the point of the grid at or below it.
    """

    km: np.ndarray
    test: Test
    rate_per_km: float
    grid: np.ndarray
    onset: np.ndarray
    path: Path
    onwards: np.ndarray
    place: np.ndarray

    def step(self, k: int) -> Step:
        """The step from point k to the next."""
        return riding_step(self.onset[k], float(self.km[k + 1] - self.km[k]), self.rate_per_km)


def courses(
    belief: np.ndarray,
    onset: np.ndarray,
    test: Test,
    rate_per_km: float,
    km: np.ndarray,
    n_beliefs: int,
) -> tuple[Course, ...]:
    """The course of sensors, some hundred at a time; parameters as of ``policy.alternatives``."""
    starts = range(0, len(belief), _AT_ONCE)
    some = [slice(start, start + _AT_ONCE) for start in starts]
    return tuple(_course(belief[s], onset[s], test, rate_per_km, km, n_beliefs) for s in some)


def _course(
    belief: np.ndarray, onset: np.ndarray, test: Test, rate: float, km: np.ndarray, n_beliefs: int
) -> Course:
    grid, by_step = belief_grid(n_beliefs)[:, None], np.ascontiguousarray(onset.T)
    shape = (len(by_step), n_beliefs, len(belief))
    onwards, place = np.empty(shape), np.empty(shape, dtype=np.min_scalar_type(n_beliefs))
    for k, length in enumerate(np.diff(km)):
        onwards[k] = riding_step(by_step[k], float(length), rate).onwards(grid)
        place[k] = near(onwards[k], n_beliefs)
    path = left_alone(belief, onset, rate, km)
    return Course(km, test, rate, grid, by_step, path, onwards, place)


def left_alone(belief: np.ndarray, onset: np.ndarray, rate_per_km: float, km: np.ndarray) -> Path:
    """Chance of a defect, of silence, and km run, of sensors that nobody tests or replaces.

    Parameters
    ----------
    belief : array of shape (n,)
        Chance of a defect now.
    onset : array of shape (n, steps)
        Chance that a sound sensor gets the defect within each step.
    rate_per_km : float
        Rate at which a defect is heard of.
    km : array of shape (steps + 1,)
        Km ahead, rising from 0.
    """
    path = [(belief, np.ones(len(belief)), np.zeros(len(belief)))]
    for k, length in enumerate(np.diff(km)):
        now, silent, run = path[-1]
        step = riding_step(onset[:, k], float(length), rate_per_km)
        path.append((step.onwards(now), silent * step.silent(now), run + silent * step.km(now)))
    return Path(*(np.stack(part) for part in zip(*path, strict=True)))
