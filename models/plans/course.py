"""What becomes of sensors as they are ridden on, whatever that costs.

Worked out once for sensors whose chances are known, and then priced again and again: no cost or
level moves any of it.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from models.plans.belief import Steps, Test, belief_after_pass, belief_grid, near, riding_steps
from models.plans.costs import Prices

#: Sensors followed at a time: enough that calling numpy takes little of the time, and few enough to
#: stay near the processor's cache.
AT_ONCE = 2_000


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

    @property
    def steps(self) -> Steps:
        """From each point to the next; worked out anew, since it fills as much as the rest."""
        return riding_steps(self.onset, np.diff(self.km), self.rate_per_km)


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
    steps = riding_steps(by_step, np.diff(km), rate)
    path = _left_alone(belief, steps)
    here = np.full(len(km), n_beliefs) if asked is None else asked(path)
    after_pass = near(belief_after_pass(grid[:, 0], test), n_beliefs)
    small, rows = np.min_scalar_type(n_beliefs), 0
    onwards, place = [], []
    for k in range(len(by_step)):
        rows = _closed(max(rows, int(here[k])), after_pass)
        onwards.append(_onwards(grid[:rows], steps, k))
        place.append(_places(onwards[k], n_beliefs, small))
        rows = int(place[k].max(initial=0)) + 2
    return Course(km, test, rate, grid, by_step, path, onwards, place)


def _onwards(belief: np.ndarray, steps: Steps, k: int) -> np.ndarray:
    """Chance of a defect after step k if nothing was heard, of shape (chances, n).

    As ``Step.onwards``, in place; it is above 1 for none, since no more turn than are silent.
    """
    kept, sound = belief * steps.keeps[k], 1 - belief
    defective, silent = sound * steps.turns[k], sound * steps.silent[k]
    defective += kept
    silent += kept
    np.maximum(silent, 1e-300, out=silent)
    defective /= silent
    return defective


def _places(belief: np.ndarray, n_points: int, small: np.dtype) -> np.ndarray:
    """As ``near``, in small numbers."""
    place = np.sqrt(belief)
    place *= n_points - 1
    np.minimum(place, n_points - 2, out=place)
    return place.astype(small)


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
    return _left_alone(belief, riding_steps(onset.T, np.diff(km), rate_per_km))


def _left_alone(belief: np.ndarray, steps: Steps) -> Path:
    path = np.empty((3, len(steps.silent) + 1, len(belief)))
    path[0, 0], path[1, 0], path[2, 0] = belief, 1.0, 0.0
    beliefs, silent, run = path
    for k, (keeps, defective_km) in enumerate(zip(steps.keeps, steps.defective_km, strict=True)):
        now, sound = beliefs[k], 1 - beliefs[k]
        kept, within = now * keeps, sound * steps.silent[k]
        within += kept
        kept += sound * steps.turns[k]
        np.divide(kept, np.maximum(within, 1e-300), out=beliefs[k + 1])
        np.multiply(silent[k], within, out=silent[k + 1])
        sound *= steps.sound_km[k]
        sound += now * defective_km
        sound *= silent[k]
        np.add(run[k], sound, out=run[k + 1])
    return Path(beliefs, silent, run)
