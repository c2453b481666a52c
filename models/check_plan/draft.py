"""A shop's plan while it is being made: who comes when, and what is left of hours and parts."""

from __future__ import annotations

import numpy as np

from models.check_plan.case import SLACK_H, ShopCase

#: Less than this, in the currency, is no saving.
LEAST = 1e-7


class Draft:
    """A plan while it is being made.

    Parameters
    ----------
    case : ShopCase
        One shop's problem.

    Attributes
    ----------
    choice, day : array of int, shape (bikes,)
        As in ``Answer``.
    value : float
        Expected cost saved, depot days paid.
    hours_left, parts_left : array
        Of each day and each pool.
    count : array of int, shape (depots + 1, days)
        Bikes of each depot that come on each day; the last line is private bikes'.
    top, top_choice : array, shape (bikes, days)
        Most that a bike can gain on a day, and by which choice.
    hopeful : list of int
        Bikes with anything to gain.
    """

    def __init__(self, case: ShopCase) -> None:
        self.case, self.n_days = case, len(case.bay_hours)
        n_bikes = len(case.depot)
        self.choice, self.day = np.full(n_bikes, -1), np.full(n_bikes, -1)
        self.value = 0.0
        self.hours_left = case.bay_hours.astype(float).copy()
        self.parts_left = case.limits.astype(float).copy()
        self.count = np.zeros((case.n_depots + 1, self.n_days), dtype=int)
        self.first = case.first
        self.end = np.append(self.first[1:], len(case.bike))
        self.top, self.top_choice = _top(case, self.first, self.end)
        self.hopeful = np.flatnonzero((self.top > 0).any(axis=1)).tolist()
        self.cheapest = np.zeros(self.n_days)
        self._needs_parts = case.uses.any(axis=(1, 2))

    def put(self, bike: int, choice: int, day: int) -> None:
        """Let a bike that does not come yet come."""
        case, depot = self.case, self.case.depot[bike]
        self.choice[bike], self.day[bike] = choice, day
        self.hours_left[day] -= case.hours[choice, day]
        if self._needs_parts[choice]:
            self.parts_left -= case.uses[choice, day]
        self.count[depot, day] += 1
        self.value += float(case.gain[choice, day])
        if depot >= 0 and self.count[depot, day] == 1:
            self.value -= case.depot_day_cost

    def take(self, bike: int) -> tuple[int, int]:
        """Take a bike out of the plan; what and when it was."""
        case, depot = self.case, self.case.depot[bike]
        choice, day = int(self.choice[bike]), int(self.day[bike])
        self.hours_left[day] += case.hours[choice, day]
        if self._needs_parts[choice]:
            self.parts_left += case.uses[choice, day]
        self.count[depot, day] -= 1
        self.value -= float(case.gain[choice, day])
        if depot >= 0 and self.count[depot, day] == 0:
            self.value += case.depot_day_cost
        self.choice[bike] = self.day[bike] = -1
        return choice, day

    def fits(self, choice: int, day: int) -> bool:
        """Whether hours and parts are left for a choice."""
        if self.case.hours[choice, day] > self.hours_left[day] + SLACK_H:
            return False
        if not self._needs_parts[choice]:
            return True
        return not np.any(self.case.uses[choice, day] > self.parts_left + 0.5)

    def best(self, bike: int, without: int = -1) -> tuple[float, int, int]:
        """What a bike, not in the plan, would save most by: the saving, choice and day."""
        saves = self.options(bike)
        if without >= 0:
            saves[:, without] = -np.inf
        row, day = divmod(int(saves.argmax()), self.n_days)
        return float(saves[row, day]), int(self.first[bike]) + row, day

    def options(self, bike: int) -> np.ndarray:
        """What it would save by each choice on each day; -inf where it does not fit."""
        case, rows = self.case, slice(self.first[bike], self.end[bike])
        saves = np.where(case.hours[rows] <= self.hours_left + SLACK_H, case.gain[rows], -np.inf)
        if self._needs_parts[rows].any():
            lacking = (case.uses[rows] > self.parts_left + 0.5).any(axis=2)
            saves[lacking] = -np.inf
        depot = case.depot[bike]
        if depot >= 0:
            saves -= np.where(self.count[depot] == 0, case.depot_day_cost, 0.0)
        return saves

    def worth_now(self, bike: int) -> float:
        """What the bike's place in the plan saves; 0 without one."""
        choice, day = self.choice[bike], self.day[bike]
        if choice < 0:
            return 0.0
        depot = self.case.depot[bike]
        alone = depot >= 0 and self.count[depot, day] == 1
        return float(self.case.gain[choice, day] - (self.case.depot_day_cost if alone else 0.0))

    def note_cheapest(self, day: int | None = None) -> None:
        """Keep the least gain among those who come on a day, or on each."""
        for at in range(self.n_days) if day is None else [day]:
            bikes = np.flatnonzero(self.day == at)
            self.cheapest[at] = self.case.gain[self.choice[bikes], at].min(initial=np.inf)

    def fill(self) -> None:
        """Take choices by what they gain an hour, the most first."""
        case = self.case
        rows, days = np.nonzero(case.gain > 0)
        gain = case.gain[rows, days]
        shared = np.where(case.depot[case.bike[rows]] >= 0, case.depot_day_cost / 4, 0.0)
        order = np.argsort(-(gain - shared) / case.hours[rows, days], kind="stable")
        self.take_all(rows[order], days[order])

    def take_all(self, rows: np.ndarray, days: np.ndarray) -> None:
        """Take choices in the order given, as far as they fit."""
        for choice, day in zip(rows.tolist(), days.tolist(), strict=True):
            bike = int(self.case.bike[choice])
            if self.choice[bike] < 0 and self.fits(choice, day):
                self.put(bike, choice, day)


def _top(case: ShopCase, first: np.ndarray, end: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Most that each bike can gain on each day, and by which choice."""
    if not len(first):
        return case.gain, np.zeros(case.gain.shape, dtype=int)
    top = np.maximum.reduceat(case.gain, first, axis=0)
    is_top = case.gain >= top[case.bike]
    number = np.where(is_top, np.arange(len(case.bike))[:, None], len(case.bike))
    return top, np.minimum(np.minimum.reduceat(number, first, axis=0), len(case.bike) - 1)
