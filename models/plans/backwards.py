"""Backwards over the km ahead: the cheapest plan of each sensor at each chance of a defect.

Numpy goes over the same few arrays thousands of times here, in place and without a choice by
condition, which a processor cannot foresee: a better plan is taken by its place. Half of the time
goes into calling numpy, so that both numbers of a plan stand in one array, one behind the other,
and what hangs on no plan is worked out for all points at once.
"""

from __future__ import annotations

import numpy as np

from models.plans.belief import belief_after_pass, near
from models.plans.costs import Prices
from models.plans.course import Course


class Backwards:
    """One way backwards over some sensors' course.

    A plan is kept as its expected cost for a sound sensor and the gap to that for a defective one,
    the first axis of an array of plans; sensors stand along the last, where numpy is quickest. At
    each point the first chances of the grid are worked out, as many as the course looks at.

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
        self.each, self.steps = np.arange(n), course.steps
        # plans that may be kept at a point: riding on, testing, and replacing as the last row
        self._plans, self._kept = np.zeros((2, 2 * m + 1, n)), np.zeros((2, m, n))
        self._plans[0, -1] = self._kept[0] = prices.replace
        self._room, self._step = np.empty(5 * m * n), np.empty((2, m, n))
        self._place_room, self._yes_room = np.empty((2, m, n), np.intp), np.empty((m, n), bool)
        self._own = np.arange(m * n).reshape(m, n)
        self._replaced = np.broadcast_to(2 * m * n + self.each, (m, n))
        self._passed = belief_after_pass(course.grid, test)
        self._passed_row = near(self._passed[:, 0], m)
        self._passed_at = self._passed_row[:, None] * n + self.each
        self._tested = prices.test + test.false_alarm * prices.false_alarm
        self._found = prices.test + test.sensitivity * prices.found
        self._first_costs()
        self._look_at(m)
        self._kept_rows = m

    def _first_costs(self) -> None:
        """What each step costs by itself, shape (steps, n)."""
        steps, price = self.steps, self.prices
        self._sound_first = 1 - steps.silent
        self._sound_first *= price.heard
        run = steps.sound_km  # our own, and not looked at again
        run *= price.usual_per_km
        self._sound_first -= run

    def _look_at(self, rows: int) -> None:
        """Take up the room that so many chances of the grid need."""
        self.rows, n, m = rows, len(self.each), len(self.course.grid)
        room = self._room[: 5 * rows * n].reshape(5, rows, n)
        self.riding, self.testing, self._c, self._better = room[0], room[1], room[2], room[3:]
        self._at, self._place = self._place_room[:, :rows]
        self._yes = self._yes_room[:rows]
        self._ride, self._try = self._plans[:, :rows], self._plans[:, m : m + rows]
        self._grid = self.course.grid[:rows]

    def back_to(self, k: int) -> None:
        """From the point after k back to point k."""
        course, rows = self.course, len(self.course.onwards[k])
        if rows != self.rows:
            self._look_at(rows)
        np.multiply(course.place[k], len(self.each), out=self._at, dtype=np.intp)
        self._at += self.each
        _take(self._steps_of(self._kept[:, : self._kept_rows]), self._at, self._better)
        self._take_better(self._kept, self._at, course.onwards[k])
        self._ride_on(k)
        within = int(self._passed_row[:rows].max()) + 2
        steps = self._steps_of(self._plans[:, :within])
        np.take(steps, self._passed_row[:rows], axis=1, out=self._better, mode="clip")
        self._take_better(self._plans, self._passed_at[:rows], self._passed[:rows])
        self._test_first()
        self._keep_cheapest()

    def _steps_of(self, plans: np.ndarray) -> np.ndarray:
        """From each plan to that of the next chance; behind the last stands what stood there."""
        few = self._step[:, : plans.shape[1] - 1]
        np.subtract(plans[:, 1:], plans[:, :-1], out=few)
        return self._step

    def _take_better(self, plans: np.ndarray, at: np.ndarray, b: np.ndarray) -> None:
        """Of the plans at these places and the next, the better at b, from the step between."""
        sound, gap = self._better
        gap *= b
        gap += sound
        np.less(gap, 0.0, out=self._yes)
        np.multiply(self._yes, len(self.each), out=self._place, casting="unsafe")
        self._place += at
        _take(plans, self._place, self._better)

    def _ride_on(self, k: int) -> None:
        """Plans that begin with step k and go on with the better, and what they cost."""
        price, keeps, (if_sound, extra) = self.prices, self.steps.keeps[k], self._better
        sound, gap = self._ride
        np.multiply(extra, self.steps.turns[k], out=sound)
        np.add(if_sound, extra, out=gap)
        if_sound *= self.steps.silent[k]
        sound += if_sound
        sound += self._sound_first[k]
        gap *= keeps
        gap += (1 - keeps) * price.heard - price.usual_per_km * self.steps.defective_km[k]
        gap -= sound
        np.multiply(gap, self._grid, out=self.riding)
        self.riding += sound

    def _test_first(self) -> None:
        """Plans that begin with a test and, where it passes, go on with the better; their cost."""
        test, (if_sound, extra) = self.course.test, self._better
        sound, gap = self._try
        np.add(if_sound, extra, out=gap)
        gap *= 1 - test.sensitivity
        gap += self._found
        np.multiply(if_sound, 1 - test.false_alarm, out=sound)
        sound += self._tested
        gap -= sound
        np.multiply(gap, self._grid, out=self.testing)
        self.testing += sound

    def _keep_cheapest(self) -> None:
        """Keep at each chance the cheapest of riding on, testing and replacing."""
        rows = self._kept_rows = self.rows
        np.less(self.testing, self.riding, out=self._yes)
        np.multiply(self._yes, self._own.size, out=self._place, casting="unsafe")
        self._place += self._own[:rows]
        np.minimum(self.riding, self.testing, out=self._c)
        np.greater(self._c, self.prices.replace, out=self._yes)
        # from some chance on nearly all are replaced, below it none: this a processor does foresee
        np.copyto(self._place, self._replaced[:rows], where=self._yes)
        _take(self._plans, self._place, self._better)
        self._kept[:, :rows] = self._better

    def test_here(self, k: int) -> np.ndarray:
        """Cost of a test at point k, gone back to last, of sensors that nothing was heard of."""
        test, here = self.course.test, self.course.path.belief[k]
        sound, gap = self._lines(self._plans, belief_after_pass(here, test), self.each)
        passed = self._tested + (1 - test.false_alarm) * sound
        failed = self._found + (1 - test.sensitivity) * (sound + gap)
        return passed + here * (failed - passed)

    def best_here(
        self, k: int, test_here: np.ndarray, some: np.ndarray | None = None
    ) -> np.ndarray:
        """Cost of what is cheapest there, of all or of ``some``; ``test_here`` of the same."""
        here, some = self.course.path.belief[k], self.each if some is None else some
        here = here[some]
        sound, gap = self._lines(self._kept, here, some)
        return np.minimum(sound + here * gap, test_here)

    def _lines(self, plans: np.ndarray, b: np.ndarray, some: np.ndarray) -> np.ndarray:
        """The better of two plans next to one another, at one chance of each sensor."""
        flat, at = plans.reshape(2, -1), near(b, len(self.course.grid))
        at *= len(self.each)
        at += some
        below, above = (flat.take(place, axis=1) for place in (at, at + len(self.each)))
        is_above = above[0] + b * above[1] < below[0] + b * below[1]
        return np.where(is_above, above, below)


def _take(table: np.ndarray, place: np.ndarray, out: np.ndarray) -> None:
    # both numbers of each plan; without a check of bounds, for which numpy would copy
    np.take(table.reshape(2, -1), place, axis=1, out=out, mode="clip")
