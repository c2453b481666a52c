"""Plan one shop: by branch and bound where small, else by prices and search."""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

import numpy as np

from models.check_plan.case import Answer, ShopCase
from models.check_plan.exact import best_plan
from models.check_plan.search import good_plan

#: Choices times days up to which branch and bound is tried, and nodes after which it gives way.
EXACT_UP_TO = 600
_NODES = 200
_GAP = 1e-4
#: Choices times days in all shops together, from which fewer days are planned anew.
_ANEW_WORTH = 120_000


class Solved(NamedTuple):
    """An answer and how it was found: exact or search."""

    answer: Answer
    method: str


def solve(
    case: ShopCase, *, size_of_all: int = 0, now_and_then: Callable[[], None] = lambda: None
) -> Solved:
    """The best plan, or one near it.

    Parameters
    ----------
    case : ShopCase
        One shop's problem.
    size_of_all : int
        Choices times days of all shops that are planned together; the larger, the less time is
        spent on each.
    now_and_then : callable
        Called while it is worked out; it may give it up by raising.
    """
    now_and_then()
    size = int((case.gain > 0).sum())
    if size <= EXACT_UP_TO and size_of_all <= 50 * EXACT_UP_TO:
        exact = best_plan(case, gap=_GAP, node_limit=_NODES)
        if exact.at_most - exact.value <= 2 * _GAP * max(exact.value, 1e-9):
            return Solved(exact, "exact")
        searched = good_plan(case)
        best = max((exact, searched), key=lambda answer: answer.value)
        at_most = min(exact.at_most, searched.at_most)
        return Solved(Answer(best.choice, best.day, best.value, max(at_most, best.value)), "search")
    share = np.clip(size / max(size_of_all, size, 1), 0.05, 1.0)
    anew = int(60 * share * min(1.0, _ANEW_WORTH / max(size_of_all, 1)))
    return Solved(good_plan(case, days_anew=anew, now_and_then=now_and_then), "search")
