"""A plan for a shop too large for branch and bound: built by prices, then bettered move by move.

Moves are kept as long as they save more: a bike goes to another day or leaves or joins the plan;
a bike takes the place of another, which goes to its next best day or out; a depot's day is given up
or begun; a few days, or one depot, are planned anew by branch and bound with all else held (a large
neighbourhood search, Shaw 1998, from memory). All are tried in a fixed order, so that the same
records give the same plan.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from models.check_plan.case import Answer, ShopCase, value_of
from models.check_plan.draft import LEAST, Draft
from models.check_plan.exact import best_plan
from models.check_plan.prices import bound_at, find_prices, worth
from models.check_plan.rounding import rounded_choices

_ROUNDS = 6
#: Below this share of what is saved, nothing more is sought.
_NEAR_ENOUGH = 0.003
#: Nor after so many parts planned anew that together saved less than this share of it.
_PATIENCE, _LITTLE = 6, 1e-4
#: Bikes up to which every move is tried.
_SMALL = 60
_REACH = 0.05
_BIKES_ANEW, _OTHERS_ANEW = 14, 10
#: Bikes times days up to which a depot is planned anew as a whole.
_CHOICES_ANEW = 300


def good_plan(
    case: ShopCase,
    *,
    steps: int = 200,
    days_anew: int = 40,
    now_and_then: Callable[[], None] = lambda: None,
) -> Answer:
    """A plan near the best, and what no plan can beat.

    Parameters
    ----------
    case : ShopCase
        One shop's problem.
    steps : int
        Steps by which prices are found.
    days_anew : int
        How often a few days are planned anew by branch and bound.
    now_and_then : callable
        Called while it is worked out; it may give it up by raising.
    """
    draft = Draft(case)
    if not draft.hopeful:
        return Answer(draft.choice, draft.day, 0.0, 0.0)
    draft.fill()
    prices = find_prices(case, reached=draft.value, steps=steps, now_and_then=now_and_then)
    now_and_then()
    paid = worth(case, prices.hour, prices.part)
    best = Draft(case)
    rounded = rounded_choices(case, paid, prices.turn)
    now_and_then()
    best.take_all(rounded.rows, rounded.days)
    at_most = min(prices.at_most, bound_at(case, *rounded[2:]))
    above = np.maximum.reduceat(paid, best.first, axis=0) - prices.turn[:, None]
    improve(best, above, at_most, now_and_then)
    if len(draft.hopeful) <= _SMALL:
        improve(draft, above, at_most, now_and_then)
        best = max((draft, best), key=lambda each: each.value)
    if days_anew and at_most - best.value > _NEAR_ENOUGH * best.value:
        plan_anew(best, paid, at_most, days_anew, now_and_then)
    value = value_of(case, best.choice, best.day)
    return Answer(best.choice, best.day, value, max(at_most, value))


def improve(
    draft: Draft,
    above: np.ndarray,
    at_most: float,
    now_and_then: Callable[[], None] = lambda: None,
) -> None:
    """Move after move, until none saves more or the plan is near enough.

    Parameters
    ----------
    draft : Draft
        The plan.
    above : array of shape (bikes, days)
        What each bike's visit is worth above the prices of its hours, parts and turn; only bikes
        near 0 or above try to take the place of others.
    at_most : float
        No plan saves more.
    now_and_then : callable
        Called before each kind of move; it may give the search up by raising.
    """
    reach = -_REACH * float(np.abs(above[np.isfinite(above)]).mean() if above.size else 0.0)
    small = len(draft.hopeful) <= _SMALL
    for _ in range(_ROUNDS if small else _ROUNDS // 3):
        before = draft.value
        for move in (_move_each, _give_up_days, _begin_days):
            now_and_then()
            move(draft)
        now_and_then()
        _take_places(draft, np.full_like(above, np.inf) if small else above - reach)
        if draft.value <= before + max(LEAST, 1e-5 * abs(before)):
            return


def plan_anew(
    draft: Draft,
    paid: np.ndarray,
    at_most: float,
    times: int,
    now_and_then: Callable[[], None] = lambda: None,
) -> None:
    """Plan a part anew with the rest of the plan held, ``times`` times or until near enough.

    It ends before when some turns one after another have saved next to nothing.

    A part is a few days, a few days of which one depot has some, or one depot on all days.
    """
    rng = np.random.default_rng(0)
    best_paid = np.maximum.reduceat(paid, draft.first, axis=0)
    kinds = 2 if draft.case.n_depots else 1
    whole = {depot: -np.inf for depot in range(draft.case.n_depots) if _few(draft, depot)}
    reached = [-np.inf] * _PATIENCE + [draft.value]
    for turn in range(times):
        now_and_then()
        depot = next((d for d, value in whole.items() if value < draft.value), None)
        if turn % 3 == 2 and depot is not None:
            days = np.arange(draft.n_days)
            _solve_part(draft, np.flatnonzero(draft.case.depot == depot), days)
            whole[depot] = draft.value  # not tried again until something else has changed
        else:
            days = _some_days(draft, rng, of_depot=turn % kinds == 1)
            bikes = _bikes_of(draft, days, best_paid)
            if not len(bikes):
                continue
            _solve_part(draft, bikes, days)
        reached.append(draft.value)
        if at_most - draft.value <= _NEAR_ENOUGH * draft.value:
            return
        if reached[-1] - reached[-1 - _PATIENCE] < _LITTLE * abs(draft.value):
            return


def _few(draft: Draft, depot: int) -> bool:
    """Whether a depot's bikes are few enough to be planned anew on all days."""
    return int((draft.top[draft.case.depot == depot] > 0).sum()) <= _CHOICES_ANEW


def _bikes_of(draft: Draft, days: np.ndarray, best_paid: np.ndarray) -> np.ndarray:
    """The bikes of these days and some of those without a day; none where they are too many."""
    here = np.isin(draft.day, days)
    if not 0 < here.sum() <= 4 * _BIKES_ANEW:
        return np.zeros(0, dtype=int)
    idle = np.flatnonzero((draft.day < 0) & (draft.top[:, days] > 0).any(axis=1))
    keen = best_paid[idle][:, days].max(axis=1)
    idle = idle[np.argsort(-keen, kind="stable")[:_OTHERS_ANEW]]
    return np.sort(np.append(np.flatnonzero(here), idle))


def _some_days(draft: Draft, rng: np.random.Generator, *, of_depot: bool) -> np.ndarray:
    """Days with few enough bikes: any, or one depot's own and others by turns."""
    order = rng.permutation(draft.n_days)
    if of_depot:
        own = draft.count[int(rng.integers(draft.case.n_depots))] > 0
        rank = np.empty(draft.n_days)
        for some in (own[order], ~own[order]):
            rank[order[some]] = np.arange(some.sum())
        order = order[np.argsort(rank[order], kind="stable")]
    bikes = np.cumsum(draft.count.sum(axis=0)[order])
    return np.sort(order[: max(2, int(np.searchsorted(bikes, _BIKES_ANEW)))][:4])


def _solve_part(draft: Draft, bikes: np.ndarray, days: np.ndarray) -> None:
    case, before = draft.case, draft.value
    held = [(bike, *draft.take(bike)) for bike in bikes.tolist() if draft.choice[bike] >= 0]
    rows = np.flatnonzero(np.isin(case.bike, bikes))
    depots, own = np.unique(case.depot[bikes], return_inverse=True)
    own = own - (1 if len(depots) and depots[0] < 0 else 0)
    gain = case.gain[np.ix_(rows, days)]
    hours = case.hours[np.ix_(rows, days)]
    pools = np.flatnonzero(case.uses[np.ix_(rows, days)].any(axis=(0, 1)))
    part = ShopCase(
        np.searchsorted(bikes, case.bike[rows]),
        own,
        gain,
        hours,
        draft.hours_left[days],
        case.uses[np.ix_(rows, days, pools)],
        draft.parts_left[pools],
        case.depot_day_cost,
    )
    answer = best_plan(part, gap=1e-3, node_limit=20)
    for number in np.flatnonzero(answer.choice >= 0).tolist():
        draft.put(
            int(bikes[number]), int(rows[answer.choice[number]]), int(days[answer.day[number]])
        )
    if draft.value < before - LEAST:
        for bike in bikes[draft.choice[bikes] >= 0].tolist():
            draft.take(bike)
        for bike, choice, day in held:
            draft.put(bike, choice, day)


def _move_each(draft: Draft) -> None:
    for bike in draft.hopeful:
        now = draft.worth_now(bike)
        held = draft.take(bike) if draft.choice[bike] >= 0 else None
        saves, choice, day = draft.best(bike)
        if saves > max(now, 0.0) + LEAST:
            draft.put(bike, choice, day)
        elif held is not None and now > -LEAST:
            draft.put(bike, *held)


def _give_up_days(draft: Draft) -> None:
    case = draft.case
    for depot, day in np.argwhere(draft.count[:-1] > 0).tolist():
        bikes = np.flatnonzero((case.depot == depot) & (draft.day == day)).tolist()
        before = draft.value
        held = [(bike, *draft.take(bike)) for bike in bikes]
        for bike in bikes:
            saves, choice, other = draft.best(bike, without=day)
            if saves > LEAST:
                draft.put(bike, choice, other)
        if draft.value <= before + LEAST:
            for bike in bikes:
                if draft.choice[bike] >= 0:
                    draft.take(bike)
            for bike, choice, own in held:
                draft.put(bike, choice, own)


def _begin_days(draft: Draft) -> None:
    case = draft.case
    least_h = case.hours.min(initial=1e9)
    for depot in range(case.n_depots):
        bikes = np.flatnonzero(case.depot == depot)
        now = np.array([draft.worth_now(bike) for bike in bikes.tolist()])
        more = np.maximum(draft.top[bikes] - now[:, None], 0)
        room = np.floor((draft.hours_left + 1e-6) / least_h).astype(int)
        ranked = np.cumsum(-np.sort(-more, axis=0), axis=0)
        for day in np.flatnonzero((draft.count[depot] == 0) & (room > 0)).tolist():
            if ranked[min(room[day], len(bikes)) - 1, day] > case.depot_day_cost:
                _begin_day(draft, bikes, day)


def _begin_day(draft: Draft, bikes: np.ndarray, day: int) -> None:
    """Bring the depot's bikes together on the day if they save more than the day costs."""
    before, held, moved = draft.value, [], []
    now = np.array([draft.worth_now(bike) for bike in bikes.tolist()])
    more = draft.top[bikes, day] - now
    for number in np.argsort(-more, kind="stable").tolist():
        if more[number] <= LEAST:
            break
        bike = int(bikes[number])
        was_at = draft.take(bike) if draft.choice[bike] >= 0 else None
        if draft.fits(draft.top_choice[bike, day], day):
            draft.put(bike, int(draft.top_choice[bike, day]), day)
            moved.append(bike)
            if was_at is not None:
                held.append((bike, *was_at))
        elif was_at is not None:
            draft.put(bike, *was_at)
    if draft.value > before + LEAST:
        return
    for bike in moved:
        draft.take(bike)
    for bike, choice, own in held:
        draft.put(bike, choice, own)


def _take_places(draft: Draft, keen_at: np.ndarray) -> None:
    """Each bike takes the place of another, where both together then save more."""
    draft.note_cheapest()
    for bike in draft.hopeful:
        own = max(draft.worth_now(bike), 0.0)
        top = draft.top[bike]
        least = np.maximum(own, draft.cheapest) + LEAST
        keen = np.flatnonzero((top > least) & (keen_at[bike] > 0))
        for day in keen[np.argsort(-top[keen], kind="stable")[:5]].tolist():
            if day != draft.day[bike] and _take_place(draft, bike, day):
                break


def _take_place(draft: Draft, bike: int, day: int) -> bool:
    case, before = draft.case, draft.value
    choice = int(draft.top_choice[bike, day])
    others = np.flatnonzero(draft.day == day)
    others = others[np.argsort(case.gain[draft.choice[others], day], kind="stable")][:3]
    held = draft.take(bike) if draft.choice[bike] >= 0 else None
    for other in others.tolist():
        was = draft.take(other)
        if draft.fits(choice, day):
            draft.put(bike, choice, day)
            saves, elsewhere, later = draft.best(other)
            if saves > LEAST:
                draft.put(other, elsewhere, later)
            if draft.value > before + LEAST:
                draft.note_cheapest(day)
                return True
            if draft.choice[other] >= 0:
                draft.take(other)
            draft.take(bike)
        draft.put(other, *was)
    if held is not None:
        draft.put(bike, *held)
    return False
