"""What becomes of sensors as they are ridden on, whatever that costs.

Worked out once for sensors whose chances are known, and then priced again and again: no cost or
level moves any of it.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from models.plans.belief import Step, Test, belief_after_pass, belief_grid, near, riding_step
from models.plans.costs import Prices

#: Sensors followed at a time: few enough to stay in the processor's cache.
AT_ONCE = 1_000


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
    ``place``, by step of shape (chances, n): the chance after it of riding from each of them if
    nothing was heard, and the point of the grid at or below it. Of the chances they hold the first
    ones, as many as are looked at.
    """

    km: np.ndarray
    test: Test
    rate_per_km: float
    grid: np.ndarray
    onset: np.ndarray
    path: Path
    onwards: Sequence[np.ndarray]
    place: Sequence[np.ndarray]

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
    starts = range(0, len(belief), AT_ONCE)
    some = [slice(start, start + AT_ONCE) for start in starts]
    return tuple(course_of(belief[s], onset[s], test, rate_per_km, km, n_beliefs) for s in some)


def course_of(
    belief: np.ndarray,
    onset: np.ndarray,
    test: Test,
    rate: float,
    km: np.ndarray,
    n_beliefs: int,
    asked: Callable[[Path], np.ndarray] | None = None,
) -> Course:
    """The course of sensors all at once; parameters as of ``policy.alternatives``.

    ``asked`` tells from their path how many chances of the grid, from the lowest, are asked about
    at each point; then only those are looked at that the answer hangs on, by default all of them.
    """
    grid, by_step = belief_grid(n_beliefs)[:, None], np.ascontiguousarray(onset.T)
    steps = _steps(by_step, rate, km)
    path = _left_alone(belief, steps)
    here = np.full(len(km), n_beliefs) if asked is None else asked(path)
    after_pass = near(belief_after_pass(grid[:, 0], test), n_beliefs)
    small, rows = np.min_scalar_type(n_beliefs), 0
    onwards, place = [], []
    for k, step in enumerate(steps):
        rows = _closed(max(rows, int(here[k])), after_pass)
        onwards.append(step.onwards(grid[:rows]))
        place.append(near(onwards[k], n_beliefs).astype(small))
        rows = int(place[k].max(initial=0)) + 2
    return Course(km, test, rate, grid, by_step, path, onwards, place)


def _closed(rows: int, after_pass: np.ndarray) -> int:
    """Chances to look at so that those after a test that passed are among them, with the next."""
    more = int(after_pass[:rows].max(initial=0)) + 2
    return rows if more <= rows else _closed(more, after_pass)


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
    return _left_alone(belief, _steps(onset.T, rate_per_km, km))


def _steps(onset: np.ndarray, rate_per_km: float, km: np.ndarray) -> list[Step]:
    """Each step of riding, from onsets of shape (steps, n)."""
    lengths = np.diff(km).tolist()
    return [riding_step(onset[k], length, rate_per_km) for k, length in enumerate(lengths)]


def _left_alone(belief: np.ndarray, steps: Sequence[Step]) -> Path:
    path = [(belief, np.ones(len(belief)), np.zeros(len(belief)))]
    for step in steps:
        now, silent, run = path[-1]
        path.append((step.onwards(now), silent * step.silent(now), run + silent * step.km(now)))
    return Path(*(np.stack(part) for part in zip(*path, strict=True)))
