"""One shop's problem as arrays: which bikes to call in on which day.

Shops do not share bays, parts or bikes, so each is a problem of its own. A *choice* is one bike
with some of its sensors; of a bike's choices at most one is taken, on at most one day.

    maximise   sum of gain[c, t] x[c, t]  -  depot_day_cost * sum of y[f, t]
    subject to each bike        at most one (choice, day)
               each day t       sum of hours[c, t] x[c, t] <= bay_hours[t]
               each pool p      sum of uses[c, t, p] x[c, t] <= limits[p]
               each depot, day  x of its bikes <= y[f, t],      x, y in {0, 1}

Without the last line it is a generalised assignment problem, without the hours one of locating
facilities (Martello & Toth, *Knapsack Problems*, 1990, ch. 7; Erlenkotter, Operations Research 26
(1978) 992; both from memory).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

#: Hours are compared to this.
SLACK_H = 1e-6


@dataclass(frozen=True)
class ShopCase:
    """One shop's problem.

    Attributes
    ----------
    bike : array of int, shape (choices,)
        Number of the bike of each choice, rising from 0 without a gap.
    depot : array of int, shape (bikes,)
        Number of the depot of each bike; -1 for a private bike, whose visit costs no depot day.
    gain : array of shape (choices, days)
        Expected cost saved; -inf where the choice cannot be taken on the day.
    hours : array of shape (choices, days)
        Bay hours taken.
    bay_hours : array of shape (days,)
        Bay hours there are.
    uses : array of int, shape (choices, days, pools)
        Parts taken from each pool.
    limits : array of shape (pools,)
        Parts there are in each.
    depot_day_cost : float
        Cost of a day on which bikes of one depot come.
    """

    bike: np.ndarray
    depot: np.ndarray
    gain: np.ndarray
    hours: np.ndarray
    bay_hours: np.ndarray
    uses: np.ndarray
    limits: np.ndarray
    depot_day_cost: float

    @property
    def first(self) -> np.ndarray:
        """First choice of each bike."""
        return np.searchsorted(self.bike, np.arange(len(self.depot)))

    @property
    def n_depots(self) -> int:
        """Number of depots."""
        return int(self.depot.max(initial=-1)) + 1


@dataclass(frozen=True)
class Answer:
    """A plan for one shop.

    Attributes
    ----------
    choice, day : array of int, shape (bikes,)
        What each bike comes in for, and when; -1 for both where it does not come.
    value : float
        Expected cost saved, depot days paid.
    at_most : float
        No plan saves more.
    """

    choice: np.ndarray
    day: np.ndarray
    value: float
    at_most: float


def value_of(case: ShopCase, choice: np.ndarray, day: np.ndarray) -> float:
    """Expected cost saved by a plan, depot days paid."""
    comes = choice >= 0
    depot = case.depot[comes]
    own = np.unique(np.stack([depot, day[comes]])[:, depot >= 0], axis=1).shape[1]
    return float(case.gain[choice[comes], day[comes]].sum() - case.depot_day_cost * own)


def broken_limits(case: ShopCase, choice: np.ndarray, day: np.ndarray) -> list[str]:
    """What a plan breaks, in words; empty where it keeps everything."""
    comes = choice >= 0
    c, t = choice[comes], day[comes]
    broken = []
    if np.any(case.bike[c] != np.flatnonzero(comes)):
        broken.append("a choice of another bike")
    if not np.isfinite(case.gain[c, t]).all():
        broken.append("a day on which a bike cannot come")
    taken = np.bincount(t, case.hours[c, t], minlength=len(case.bay_hours))
    if np.any(taken > case.bay_hours + SLACK_H * max(len(c), 1)):
        broken.append("more hours than there are")
    if np.any(case.uses[c, t].sum(axis=0) > case.limits):
        broken.append("more parts than there are")
    return broken
