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
    one, sensors along the last axis, where numpy is quickest.

    Parameters
    ----------
    course : Course
        The sensors' course.
    prices : Prices
        Of each.

    Attributes
    ----------
    test_at, best_at : arrays of shape (points, n)
        Least cost from each point on of a sensor that nothing was heard of, with a test there or
        with what is cheapest there.
    riding, testing : arrays of shape (chances, n)
        Cost of riding on and of testing at the point gone back to last, by chance of a defect.
    """

    def __init__(self, course: Course, prices: Prices) -> None:
        self.course, self.prices, test = course, prices, course.test
        m, n = len(course.grid), len(prices.replace)
        self.rows, self.each = m, np.arange(n)
        self.test_at, self.best_at = np.empty((2, len(course.km), n))
        self.test_at[-1] = self.best_at[-1] = prices.replace
        # all plans that may be kept at a point: riding on, testing, and replacing as the last row
        self._sound, self._gap = np.zeros((2, 2 * m + 1, n))
        self._sound[-1] = prices.replace
        self._kept_sound, self._kept_gap = np.zeros((2, m, n))
        self._kept_sound[:] = prices.replace
        self.riding, self.testing, self._a, self._b, self._c, self._d = np.empty((6, m, n))
        self._step_sound, self._step_gap = np.empty((2, m - 1, n))
        self._at, self._place, self._to = np.empty((3, m, n), np.intp)
        self._yes = np.empty((m, n), bool)
        self._own, self._replaced = np.arange(m * n).reshape(m, n), 2 * m * n + self.each
        self._passed = belief_after_pass(course.grid, test)
        self._passed_at = near(self._passed, m) * n + self.each
        self._sound_tested = prices.test + test.false_alarm * prices.false_alarm
        self._defect_tested = prices.test + test.sensitivity * prices.found
        here = course.path.belief
        self._here_at = near(here, m) * n + self.each
        self._here_passed = belief_after_pass(here, test)
        self._here_passed_at = near(self._here_passed, m) * n + self.each

    def back_to(self, k: int) -> None:
        """From the point after k back to point k."""
        m = self.rows
        step, onwards = self.course.step(k), self.course.onwards[k]
        np.multiply(self.course.place[k], len(self.each), out=self._at, dtype=np.intp)
        self._at += self.each
        self._better(self._kept_sound, self._kept_gap, self._at, onwards)
        self._ride(step)
        riding = self._sound[:m], self._gap[:m]
        self._cost(*riding, self.riding)
        self._better(*riding, self._passed_at, self._passed)
        self._try()
        self._cost(self._sound[m:-1], self._gap[m:-1], self.testing)
        self._keep_cheapest()
        self._tell(k)

    def _better(self, sound: np.ndarray, gap: np.ndarray, at: np.ndarray, b: np.ndarray) -> None:
        """Into ``_a`` and ``_b``: of the plans at these places and the next, the better at b."""
        np.subtract(sound[1:], sound[:-1], out=self._step_sound)
        np.subtract(gap[1:], gap[:-1], out=self._step_gap)
        _take(self._step_gap, at, self._d)
        self._d *= b
        _take(self._step_sound, at, self._c)
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
        test, m = self.course.test, self.rows
        sound, gap = self._sound[m:-1], self._gap[m:-1]
        np.add(self._a, self._b, out=gap)
        gap *= 1 - test.sensitivity
        gap += self._defect_tested
        np.multiply(self._a, 1 - test.false_alarm, out=sound)
        sound += self._sound_tested
        gap -= sound

    def _cost(self, sound: np.ndarray, gap: np.ndarray, out: np.ndarray) -> None:
        np.multiply(gap, self.course.grid, out=out)
        out += sound

    def _keep_cheapest(self) -> None:
        """Keep at each chance the cheapest of riding on, testing and replacing."""
        np.less(self.testing, self.riding, out=self._yes)
        np.multiply(self._yes, self._own.size, out=self._place, casting="unsafe")
        self._place += self._own
        np.minimum(self.riding, self.testing, out=self._c)
        np.greater(self._c, self.prices.replace, out=self._yes)
        np.subtract(self._replaced, self._place, out=self._to)
        self._to *= self._yes
        self._place += self._to
        _take(self._sound, self._place, self._kept_sound)
        _take(self._gap, self._place, self._kept_gap)

    def _tell(self, k: int) -> None:
        """What testing, and what is cheapest, cost a sensor that nothing was heard of."""
        here, test = self.course.path.belief[k], self.course.test
        riding = self._sound[: self.rows], self._gap[: self.rows]
        sound, gap = self._lines(riding, self._here_passed_at[k], self._here_passed[k])
        passed = self._sound_tested + (1 - test.false_alarm) * sound
        failed = self._defect_tested + (1 - test.sensitivity) * (sound + gap)
        self.test_at[k] = passed + here * (failed - passed)
        kept = self._kept_sound, self._kept_gap
        sound, gap = self._lines(kept, self._here_at[k], here)
        self.best_at[k] = np.minimum(sound + here * gap, self.test_at[k])

    def _lines(
        self, plans: tuple[np.ndarray, np.ndarray], at: np.ndarray, b: np.ndarray
    ) -> tuple[np.ndarray, np.ndarray]:
        """The better of two plans next to one another, at one chance of each sensor."""
        sound, gap = (part.ravel() for part in plans)
        after = at + len(self.each)
        worse = sound[after] + b * gap[after] < sound[at] + b * gap[at]
        chosen = np.where(worse, after, at)
        return sound[chosen], gap[chosen]


def _take(table: np.ndarray, place: np.ndarray, out: np.ndarray) -> None:
    # without a check of bounds, for which numpy would copy
    np.take(table.ravel(), place, out=out, mode="clip")
