"""Which choices a plan in fractions takes, depot days made whole one after another.

The linear programme over the choices that the prices leave near is solved; depot days that come
out nearly whole are held, with the fullest of the others, and it is solved again (a dive; Berthold
2006, from memory).
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from scipy.optimize import OptimizeResult, linprog

from models.check_plan.case import ShopCase
from models.check_plan.exact import programme

#: Choices and days in the programme: so many, or so many a bike if that is more.
_KEPT, _KEPT_A_BIKE = 5_000, 6
_DIVES = 3
_NEARLY = 0.9
_LEAST_SHARE = 0.02


class Rounded(NamedTuple):
    """Choices and their days, those that the plan in fractions takes most first.

    ``hour``, ``part`` and ``turn`` are the prices that go with that plan, as in ``Prices``; blank
    where the programme was not solved.
    """

    rows: np.ndarray
    days: np.ndarray
    hour: np.ndarray
    part: np.ndarray
    turn: np.ndarray


def rounded_choices(case: ShopCase, paid: np.ndarray, turn: np.ndarray) -> Rounded:
    """Round the plan in fractions.

    Parameters
    ----------
    case : ShopCase
        One shop's problem.
    paid : array of shape (choices, days)
        Gain less the price of hours and parts.
    turn : array of shape (bikes,)
        Price of a fleet bike's one visit.
    """
    rows, days = _near(case, paid, turn)
    of = programme(case, rows, days)
    n, m = len(rows), len(of.pairs)
    low, high = np.zeros(n + m), np.ones(n + m)
    prices, share, opened = None, -np.ones(n), np.ones(m)
    for dive in range(_DIVES if m else 1):
        solved = linprog(
            of.cost, of.limits.A, of.limits.ub, bounds=np.column_stack([low, high]), method="highs"
        )
        prices = prices or _prices(case, solved)
        if solved.x is None:
            break
        share, opened = solved.x[:n], solved.x[n:]
        split = (opened > 1e-6) & (opened < 1 - 1e-6)
        if not split.any() or dive == _DIVES - 1:
            break
        fullest = np.argsort(-np.where(split, opened, -1.0), kind="stable")
        held = np.union1d(np.flatnonzero(opened >= _NEARLY), fullest[: -(-int(split.sum()) // 3)])
        low[n + held] = 1.0
        high[n + np.flatnonzero(opened < 0.1)] = 0.0
        low = np.minimum(low, high)
    whole = np.ones(n)
    whole[of.pair >= 0] = opened[np.searchsorted(of.pairs, of.pair[of.pair >= 0])]
    order = np.lexsort((days, rows, -case.gain[rows, days], -(share + whole)))
    taken = order[share[order] > _LEAST_SHARE]
    return Rounded(rows[taken], days[taken], *prices)


def _prices(case: ShopCase, solved: OptimizeResult) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Prices of hours, parts and fleet bikes' turns, from the lines of the programme."""
    n, d, p = len(case.depot), len(case.bay_hours), len(case.limits)
    if solved.x is None:
        return np.full(d, np.nan), np.full(p, np.nan), np.full(n, np.nan)
    price = np.maximum(-solved.ineqlin.marginals, 0.0)
    turn = np.where(case.depot >= 0, price[:n], 0.0)
    return price[n : n + d], price[n + d : n + d + p], turn


def _near(case: ShopCase, paid: np.ndarray, turn: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """The choices and days that fall least short of their bike's turn."""
    rows, days = np.nonzero(case.gain > 0)
    kept = max(_KEPT, _KEPT_A_BIKE * len(np.unique(case.bike[rows])))
    if len(rows) <= kept:
        return rows, days
    best = np.maximum(np.maximum.reduceat(paid.max(axis=1), case.first), 0)
    asked = np.where(case.depot >= 0, turn, best)
    short = asked[case.bike[rows]] - paid[rows, days]
    near = np.sort(np.argsort(short, kind="stable")[:kept])
    return rows[near], days[near]
