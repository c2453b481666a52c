"""What an hour of each day, a part and a bike's own turn are worth, and what no plan can beat.

The hours, the parts and "each bike once" are priced instead of forbidden (Lagrangian relaxation;
Geoffrion, Mathematical Programming Study 2 (1974) 82; Fisher, Management Science 27 (1981) 1; both
from memory). With prices l of an hour of each day, m of a part and u of a fleet bike's turn, each
depot decides each day by itself whether its bikes come, so that for any prices from 0 up

    sum of u  +  l . bay_hours  +  m . limits
      +  sum over private bikes of the best of  (gain - l hours - m uses)+
      +  sum over depots and days of  (sum over bikes of (gain - l hours - m uses - u)+  -  cost)+

is no less than what any plan saves. It is convex in the prices and brought down by subgradient
steps (Held, Wolfe & Crowder, Mathematical Programming 6 (1974) 62, from memory).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from models.check_plan.case import ShopCase

_PATIENCE = 12


@dataclass(frozen=True)
class Prices:
    """Prices, and what follows from them.

    Attributes
    ----------
    hour : array of shape (days,)
        Of an hour.
    part : array of shape (pools,)
        Of a part.
    turn : array of shape (bikes,)
        Of a fleet bike's one visit; 0 for private bikes.
    at_most : float
        No plan saves more.
    opened : array of shape (depots, days)
        Share of the last steps in which the depot's bikes would come.
    """

    hour: np.ndarray
    part: np.ndarray
    turn: np.ndarray
    at_most: float
    opened: np.ndarray


def find_prices(
    case: ShopCase,
    *,
    reached: float,
    steps: int = 300,
    now_and_then: Callable[[], None] = lambda: None,
) -> Prices:
    """Prices near the best.

    Parameters
    ----------
    case : ShopCase
        One shop's problem.
    reached : float
        What a plan at hand saves; steps are measured by the distance to it.
    steps : int
        Number of steps.
    now_and_then : callable
        Called at each step; it may give the search up by raising.
    """
    state = _Relaxed(case)
    hour, part = np.zeros(len(case.bay_hours)), np.zeros(len(case.limits))
    turn = np.where(case.depot >= 0, 0.5 * state.best_gain, 0.0)
    best = (np.inf, hour, part, turn)
    opened = np.zeros((case.n_depots, len(case.bay_hours)))
    scale, stuck = 1.0, 0
    for step in range(steps):
        now_and_then()
        value, slopes, open_now = state.at(hour, part, turn)
        opened += (open_now - opened) * max(0.05, 1 / (step + 1))
        if value < best[0] - 1e-9 * abs(value):
            best, stuck = (value, hour, part, turn), 0
        else:
            stuck += 1
        if stuck > _PATIENCE:
            scale, stuck = scale / 1.7, 0
            _, hour, part, turn = best
            value, slopes, _ = state.at(hour, part, turn)
        length = sum(float(s @ s) for s in slopes)
        if length < 1e-12 or value <= reached + 1e-9:
            break
        stride = scale * max(value - reached, 1e-6 * abs(value)) / length
        hour, part, turn = (
            np.maximum(p - stride * s, 0) for p, s in zip((hour, part, turn), slopes, strict=True)
        )
    at_most, hour, part, turn = best
    return Prices(hour, part, turn, float(at_most), opened)


def bound_at(case: ShopCase, hour: np.ndarray, part: np.ndarray, turn: np.ndarray) -> float:
    """What no plan can beat, told by prices from anywhere; no bound where one is blank."""
    prices = (hour, part, turn)
    if any(np.isnan(price).any() for price in prices):
        return np.inf
    return _Relaxed(case).at(*prices)[0]


def worth(case: ShopCase, hour: np.ndarray, part: np.ndarray) -> np.ndarray:
    """Gain of each choice and day once its hours and parts are paid for, shape (choices, days)."""
    paid = case.gain - case.hours * hour
    return paid - case.uses @ part if len(part) else paid


class _Relaxed:
    """The relaxed problem: its value and slopes at given prices.

    Only bikes that could gain something are looked at: no price brings another one in.
    """

    def __init__(self, case: ShopCase) -> None:
        self.case, self.best_gain = case, _best_gain(case)
        self.bikes = np.flatnonzero(self.best_gain > 0)
        self.rows = np.flatnonzero(self.best_gain[case.bike] > 0)
        self.gain, self.hours = case.gain[self.rows], case.hours[self.rows]
        self.first = np.searchsorted(case.bike[self.rows], self.bikes)
        choices = np.diff(np.append(self.first, len(self.rows)))
        self.single = len(self.rows) == len(self.bikes)
        self.further = [np.flatnonzero(choices > k) for k in range(1, choices.max(initial=0))]
        uses = case.uses[self.rows]
        self.taken = [np.nonzero(uses[:, :, pool]) for pool in range(len(case.limits))]
        self.many = [uses[(*at, pool)].astype(float) for pool, at in enumerate(self.taken)]
        depot = case.depot[self.bikes]
        self.private, self.fleet = np.flatnonzero(depot < 0), np.flatnonzero(depot >= 0)
        self.fleet = self.fleet[np.argsort(depot[self.fleet], kind="stable")]
        # depots none of whose bikes could gain anything are left out
        self.depots, self.starts = np.unique(depot[self.fleet], return_index=True)
        self.place = np.searchsorted(self.depots, depot[self.fleet])

    def at(self, hour: np.ndarray, part: np.ndarray, turn: np.ndarray) -> tuple:
        case = self.case
        paid = self._worth(hour, part)
        by_bike = self._by_bike(paid)
        over = np.maximum(by_bike[self.fleet] - turn[self.bikes[self.fleet], None], 0)
        sums = np.add.reduceat(over, self.starts, axis=0) if len(self.fleet) else over[:0]
        surplus = sums - case.depot_day_cost
        open_now = np.zeros((case.n_depots, len(hour)), dtype=bool)
        open_now[self.depots] = surplus > 0
        day = by_bike[self.private].argmax(axis=1) if len(self.private) else np.zeros(0, int)
        own = by_bike[self.private, day]
        value = turn.sum() + hour @ case.bay_hours + part @ case.limits
        value += np.maximum(surplus, 0).sum() + np.maximum(own, 0).sum()
        comes = (over > 0) & (surplus > 0)[self.place]
        row, at_day = np.nonzero(comes)
        bikes = np.concatenate([self.fleet[row], self.private[own > 0]])
        days = np.concatenate([at_day, day[own > 0]])
        choice = self._choice(paid, bikes, days)
        taken = np.bincount(days, self.hours[choice, days], minlength=len(hour))
        slope_turn = np.where(case.depot >= 0, 1.0, 0.0)
        slope_turn[self.bikes[self.fleet]] -= comes.sum(axis=1)
        slopes = (
            _held(case.bay_hours - taken, hour),
            _held(case.limits - case.uses[self.rows[choice], days].sum(axis=0), part),
            _held(slope_turn, turn),
        )
        return float(value), slopes, open_now.astype(float)

    def _worth(self, hour: np.ndarray, part: np.ndarray) -> np.ndarray:
        """As ``worth``, quicker: most choices take no part, and most parts cost nothing."""
        paid = self.gain - self.hours * hour
        for pool in np.flatnonzero(part).tolist():
            paid[self.taken[pool]] -= part[pool] * self.many[pool]
        return paid

    def _by_bike(self, paid: np.ndarray) -> np.ndarray:
        """The most that a bike's choices are worth on each day."""
        if self.single:
            return paid
        most = paid[self.first]
        for k, bikes in enumerate(self.further, start=1):
            most[bikes] = np.maximum(most[bikes], paid[self.first[bikes] + k])
        return most

    def _choice(self, paid: np.ndarray, bikes: np.ndarray, days: np.ndarray) -> np.ndarray:
        """The choice behind a bike's worth on a day."""
        choice = self.first[bikes]
        if self.single:
            return choice
        last = np.append(self.first[1:], len(self.rows))[bikes]
        best = choice.copy()
        for further in range(1, int((last - choice).max(initial=1))):
            other = np.minimum(choice + further, last - 1)
            best = np.where(paid[other, days] > paid[best, days], other, best)
        return best


def _best_gain(case: ShopCase) -> np.ndarray:
    """The most that any choice of each bike gains on any day, 0 at least; shape (bikes,)."""
    most = case.gain.max(axis=1, initial=0.0)
    return np.maximum.reduceat(most, case.first) if len(most) else most


def _held(slope: np.ndarray, price: np.ndarray) -> np.ndarray:
    """No step below a price of 0."""
    return np.where((price <= 0) & (slope > 0), 0.0, slope)
