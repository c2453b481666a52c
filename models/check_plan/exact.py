"""The best plan of one shop, by branch and bound."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.sparse import coo_array, csr_array, vstack

from models.check_plan.case import Answer, ShopCase, value_of

#: Choices times days up to which a shop is solved by branch and bound.
EXACT_UP_TO = 1_500


@dataclass(frozen=True)
class Programme:
    """The problem as an integer programme over some of its choices and days.

    Attributes
    ----------
    rows, days : array of int, shape (n,)
        Choice and day of each variable.
    pair : array of int, shape (n,)
        Depot and day in one number; -1 for a private bike.
    pairs : array of int, shape (m,)
        Those that occur; their variables stand behind the n.
    cost : array of shape (n + m,)
        To be brought down.
    limits : LinearConstraint
        The lines of the problem.
    """

    rows: np.ndarray
    days: np.ndarray
    pair: np.ndarray
    pairs: np.ndarray
    cost: np.ndarray
    limits: LinearConstraint


def programme(case: ShopCase, rows: np.ndarray, days: np.ndarray) -> Programme:
    """The integer programme over the choices ``rows`` on ``days``."""
    depot = case.depot[case.bike[rows]]
    pair = np.where(depot >= 0, depot * len(case.bay_hours) + days, -1)
    pairs = np.unique(pair[pair >= 0])
    cost = np.concatenate([-case.gain[rows, days], np.full(len(pairs), case.depot_day_cost)])
    return Programme(rows, days, pair, pairs, cost, _limits(case, rows, days, pair, pairs))


def best_plan(case: ShopCase, *, gap: float = 1e-6, node_limit: int | None = None) -> Answer:
    """The plan that saves most, by HiGHS.

    Parameters
    ----------
    case : ShopCase
        One shop's problem.
    gap : float
        Relative gap at which the search ends.
    node_limit : int, optional
        Nodes after which it ends all the same; the bound is then that reached.

    Returns
    -------
    Answer; its ``at_most`` is the solver's bound.
    """
    n_bikes = len(case.depot)
    choice, day = np.full(n_bikes, -1), np.full(n_bikes, -1)
    rows, days = np.nonzero(case.gain > 0)
    if not len(rows):
        return Answer(choice, day, 0.0, 0.0)
    of = programme(case, rows, days)
    solved = milp(
        of.cost,
        integrality=1,
        bounds=Bounds(0, 1),
        constraints=of.limits,
        options={"mip_rel_gap": gap, **({"node_limit": node_limit} if node_limit else {})},
    )
    bound = solved.mip_dual_bound
    at_most = -float(bound) if bound is not None else float(case.gain[rows, days].sum())
    if solved.x is not None:
        taken = solved.x[: len(rows)] > 0.5
        bike = case.bike[rows[taken]]
        choice[bike], day[bike] = rows[taken], days[taken]
    value = value_of(case, choice, day)
    return Answer(choice, day, value, max(at_most, value))


def _limits(
    case: ShopCase, rows: np.ndarray, days: np.ndarray, pair: np.ndarray, pairs: np.ndarray
) -> LinearConstraint:
    n, width = len(rows), len(rows) + len(pairs)
    each = np.arange(n)
    once = _sums(case.bike[rows], each, np.ones(n), (len(case.depot), width))
    bays = _sums(days, each, case.hours[rows, days], (len(case.bay_hours), width))
    option, pool = np.nonzero(case.uses[rows, days])
    parts = _sums(
        pool, option, case.uses[rows[option], days[option], pool], (len(case.limits), width)
    )
    # one line a bike and depot-day, not a choice: the tighter form
    of_depot = np.flatnonzero(pair >= 0)
    key = case.bike[rows[of_depot]] * len(case.bay_hours) + days[of_depot]
    keys, line = np.unique(key, return_inverse=True)
    opened = n + np.searchsorted(pairs, pair[of_depot])
    _, at = np.unique(line, return_index=True)
    linked = _sums(line, of_depot, np.ones(len(of_depot)), (len(keys), width)) - _sums(
        np.arange(len(keys)), opened[at], np.ones(len(keys)), (len(keys), width)
    )
    upper = [np.ones(len(case.depot)), case.bay_hours, case.limits, np.zeros(len(keys))]
    return LinearConstraint(vstack([once, bays, parts, linked]), -np.inf, np.concatenate(upper))


def _sums(line: np.ndarray, column: np.ndarray, value: np.ndarray, shape: tuple) -> csr_array:
    return coo_array((np.asarray(value, dtype=float), (line, column)), shape=shape).tocsr()
