"""Backwards over the km ahead: the cheapest plan of each sensor at each chance of a defect.

Numpy goes over the same few arrays thousands of times here, in place and without a choice by
condition, which a processor cannot foresee: a better plan is taken by its place.
"""

from __future__ import annotations

import numpy as np

from models.plans.belief import Step, belief_after_pass, near
from models.plans.costs import Prices
from models.plans.course import Course


class Backwards:
    """One way backwards over some sensors' course.

    A plan is kept as its expected cost for a sound sensor and the ``gap`` to that for a defective
    one, sensors along the last axis, where numpy is quickest. At each point the first chances of
    the grid are worked out, as many as the course looks at.

    Parameters
    ----------
    course : Course
        The sensors' course.
    prices : Prices
        Of each.

    Attributes
    ----------
    riding, testing : arrays of shape (chances, n)
        Cost of riding on and of testing at the point gone back to last, by chance of a defect.
    """

    def __init__(self, course: Course, prices: Prices) -> None:
        self.course, self.prices, test = course, prices, course.test
        m, n = len(course.grid), len(prices.replace)
        self.each = np.arange(n)
        # plans that may be kept at a point: riding on, testing, and replacing as the last row
        self._sound, self._gap = np.zeros((2, 2 * m + 1, n))
        self._sound[-1] = prices.replace
        self._kept_sound, self._kept_gap = np.zeros((2, m, n))
        self._kept_sound[:] = prices.replace
        self._room = np.empty((6, m, n))
        self._step_sound, self._step_gap = np.empty((2, m - 1, n))
        self._place_room = np.empty((3, m, n), np.intp)
        self._yes_room = np.empty((m, n), bool)
        self._own, self._replaced = np.arange(m * n).reshape(m, n), 2 * m * n + self.each
        self._passed = belief_after_pass(course.grid, test)
        self._passed_row = near(self._passed[:, 0], m)
        self._passed_at = self._passed_row[:, None] * n + self.each
        self._sound_tested = prices.test + test.false_alarm * prices.false_alarm
        self._defect_tested = prices.test + test.sensitivity * prices.found
        self._kept_rows = m
        self._look_at(m)

    def _look_at(self, rows: int) -> None:
        """Take up the room that so many chances of the grid need."""
        self.rows = rows
        self.riding, self.testing, self._a, self._b, self._c, self._d = self._room[:, :rows]
        self._at, self._place, self._to = self._place_room[:, :rows]
        self._yes = self._yes_room[:rows]

    def back_to(self, k: int) -> None:
        """From the point after k back to point k."""
        course = self.course
        self._look_at(len(course.onwards[k]))
        rows, m = self.rows, len(course.grid)
        np.multiply(course.place[k], len(self.each), out=self._at, dtype=np.intp)
        self._at += self.each
        kept = self._kept_sound[: self._kept_rows], self._kept_gap[: self._kept_rows]
        self._better(*kept, self._at, course.onwards[k])
        self._ride(course.step(k))
        riding = self._sound[:rows], self._gap[:rows]
        self._cost(*riding, self.riding)
        within = int(self._passed_row[:rows].max()) + 2
        passed = self._sound[:within], self._gap[:within]
        self._better(*passed, self._passed_at[:rows], self._passed[:rows])
        self._try()
        self._cost(self._sound[m : m + rows], self._gap[m : m + rows], self.testing)
        self._keep_cheapest()

    def _better(self, sound: np.ndarray, gap: np.ndarray, at: np.ndarray, b: np.ndarray) -> None:
        """Into ``_a`` and ``_b``: of the plans at these places and the next, the better at b."""
        steps = len(sound) - 1
        step_sound, step_gap = self._step_sound[:steps], self._step_gap[:steps]
        np.subtract(sound[1:], sound[:-1], out=step_sound)
        np.subtract(gap[1:], gap[:-1], out=step_gap)
        _take(step_gap, at, self._d)
        self._d *= b
        _take(step_sound, at, self._c)
        self._d += self._c
        np.less(self._d, 0.0, out=self._yes)
        np.multiply(self._yes, len(self.each), out=self._place, casting="unsafe")
        self._place += at
        _take(sound, self._place, self._a)
        _take(gap, self._place, self._b)

    def _ride(self, step: Step) -> None:
        """Plans that begin with the step and go on with those at hand, as the first rows."""
        price, word = self.prices, step.stays + step.turns
        sound, gap = self._sound[: self.rows], self._gap[: self.rows]
        np.multiply(self._b, step.turns, out=sound)
        np.add(self._a, self._b, out=gap)
        self._a *= word
        sound += self._a
        sound += (1 - word) * price.heard - price.usual_per_km * step.sound_km
        gap *= step.keeps
        gap += (1 - step.keeps) * price.heard - price.usual_per_km * step.defective_km
        gap -= sound

    def _try(self) -> None:
        """Plans that begin with a test and, where it passes, go on with those at hand."""
        test, m = self.course.test, len(self.course.grid)
        sound, gap = self._sound[m : m + self.rows], self._gap[m : m + self.rows]
        np.add(self._a, self._b, out=gap)
        gap *= 1 - test.sensitivity
        gap += self._defect_tested
        np.multiply(self._a, 1 - test.false_alarm, out=sound)
        sound += self._sound_tested
        gap -= sound

    def _cost(self, sound: np.ndarray, gap: np.ndarray, out: np.ndarray) -> None:
        np.multiply(gap, self.course.grid[: self.rows], out=out)
        out += sound

    def _keep_cheapest(self) -> None:
        """Keep at each chance the cheapest of riding on, testing and replacing."""
        rows = self._kept_rows = self.rows
        np.less(self.testing, self.riding, out=self._yes)
        np.multiply(self._yes, self._own.size, out=self._place, casting="unsafe")
        self._place += self._own[:rows]
        np.minimum(self.riding, self.testing, out=self._c)
        np.greater(self._c, self.prices.replace, out=self._yes)
        np.subtract(self._replaced, self._place, out=self._to)
        self._to *= self._yes
        self._place += self._to
        _take(self._sound, self._place, self._kept_sound[:rows])
        _take(self._gap, self._place, self._kept_gap[:rows])

    def test_here(self, k: int) -> np.ndarray:
        """Cost of a test at point k, gone back to last, of sensors that nothing was heard of."""
        here, test = self.course.path.belief[k], self.course.test
        riding = self._sound[: self.rows], self._gap[: self.rows]
        sound, gap = self._lines(riding, belief_after_pass(here, test), self.each)
        passed = self._sound_tested + (1 - test.false_alarm) * sound
        failed = self._defect_tested + (1 - test.sensitivity) * (sound + gap)
        return passed + here * (failed - passed)

    def best_here(
        self, k: int, test_here: np.ndarray, some: np.ndarray | None = None
    ) -> np.ndarray:
        """Cost of what is cheapest there, of all or of ``some``; ``test_here`` of the same."""
        some = self.each if some is None else some
        here = self.course.path.belief[k][some]
        sound, gap = self._lines((self._kept_sound, self._kept_gap), here, some)
        return np.minimum(sound + here * gap, test_here)

    def _lines(
        self, plans: tuple[np.ndarray, np.ndarray], b: np.ndarray, some: np.ndarray
    ) -> tuple[np.ndarray, np.ndarray]:
        """The better of two plans next to one another, at one chance of each sensor."""
        sound, gap = (part.ravel() for part in plans)
        at = near(b, len(self.course.grid)) * len(self.each) + some
        after = at + len(self.each)
        here, next_to_it = (sound.take(p) + b * gap.take(p) for p in (at, after))
        chosen = at + len(self.each) * (next_to_it < here)
        return sound.take(chosen), gap.take(chosen)


def _take(table: np.ndarray, place: np.ndarray, out: np.ndarray) -> None:
    # without a check of bounds, for which numpy would copy
    np.take(table.ravel(), place, out=out, mode="clip")
