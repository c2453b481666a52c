"""Which choices a plan in fractions takes, depot days made whole one after another.

The linear programme over the choices that the prices leave near is solved; depot days that come
out nearly whole are held, with the fullest of the others, and it is solved again (a dive; Berthold
2006, from memory).
"""

from __future__ import annotations

import numpy as np
from scipy.optimize import Bounds, milp

from models.check_plan.case import ShopCase
from models.check_plan.exact import programme

_KEPT = 5_000
_DIVES = 3
_NEARLY = 0.9
_LEAST_SHARE = 0.02


def rounded_choices(
    case: ShopCase, paid: np.ndarray, turn: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Choices and their days, those that the plan in fractions takes most first.

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
    for dive in range(_DIVES if m else 1):
        solved = milp(of.cost, bounds=Bounds(low, high), constraints=of.limits)
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
    if solved.x is None:
        share, opened = -np.ones(n), np.ones(m)
    whole = np.ones(n)
    whole[of.pair >= 0] = opened[np.searchsorted(of.pairs, of.pair[of.pair >= 0])]
    order = np.lexsort((days, rows, -case.gain[rows, days], -(share + whole)))
    taken = order[share[order] > _LEAST_SHARE]
    return rows[taken], days[taken]


def _near(case: ShopCase, paid: np.ndarray, turn: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """The choices and days that fall least short of their bike's turn."""
    rows, days = np.nonzero(case.gain > 0)
    if len(rows) <= _KEPT:
        return rows, days
    best = np.maximum(np.maximum.reduceat(paid.max(axis=1), case.first), 0)
    asked = np.where(case.depot >= 0, turn, best)
    short = asked[case.bike[rows]] - paid[rows, days]
    kept = np.sort(np.argsort(short, kind="stable")[:_KEPT])
    return rows[kept], days[kept]
