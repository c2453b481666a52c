"""What following the advice would cost were another fit true, and nothing that it does not ask.

The advice stands: a sensor that is replaced now costs its replacement, one that is tested now its
test, and any other the best of what may be done later. So of each sensor's plans only those are
worked out that one of these hangs on (``models.plans.cheapest`` weighs them all).

Of many sensors that are asked the same, some are followed, spread evenly over their chances now:
every k-th (Cochran, Sampling Techniques, 3rd ed. 1977, ch. 8, from memory). What another fit
changes on them is taken to change on the others alike (``all_by_fit``).
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
import pandas as pd

from models.plans.backwards import Backwards
from models.plans.belief import Test, belief_after_pass, belief_grid, near, riding_step
from models.plans.cheapest import Weighed, horizon_of
from models.plans.costs import Prices
from models.plans.course import AT_ONCE, Course, Path, course_of, left_alone
from models.plans.outlook import BELIEFS, Outlook, row_by_sensor, under_fit
from models.plans.planned_work import NOW
from models.plans.policy import KM_AHEAD
from models.plans.settings import PlanSettings

#: Sensors followed of those with the same work now.
MOST_FOLLOWED = 1_000


class Followed(NamedTuple):
    """Expected cost over the horizon of sensors whose chances are known, shape (fits, n).

    ``advised`` if what is advised now is done, later work at its best time; ``nothing`` if no work
    is planned. Blank where a sensor was not followed.
    """

    advised: np.ndarray
    nothing: np.ndarray


class Asked(NamedTuple):
    """What is asked of some sensors that are advised the same: ``now`` their work, if any.

    ``places`` theirs among those known; ``km`` the horizon of each, which lies after the point
    ``end`` at the ``share`` of the way to the next. A test is weighed at the points ``tests``, what
    is cheapest at those about the horizons, ``ends``; ``points`` are all between.
    """

    now: str
    places: np.ndarray
    km: np.ndarray
    end: np.ndarray
    share: np.ndarray
    tests: range
    ends: range
    points: range

    def rows(self, test: Test, path: Path) -> np.ndarray:
        """How many chances of the grid are asked about, from the lowest; shape (points, n)."""
        rows = np.zeros(path.belief.shape, dtype=int)
        asked = slice(self.points.start, self.points.stop)
        rows[asked] = near(belief_after_pass(path.belief[asked], test), BELIEFS) + 2
        for k in (self.end, self.end + 1):
            each = k, np.arange(len(k))
            rows[each] = np.maximum(rows[each], near(path.belief[each], BELIEFS) + 2)
        return rows

    def ends_at(self, k: int) -> np.ndarray:
        """Those whose horizon lies next to point k."""
        return np.flatnonzero((self.end == k) | (self.end + 1 == k))


def asked(
    outlook: Outlook,
    weighed: Weighed,
    action: pd.Series,
    settings: PlanSettings,
    *,
    most: int = MOST_FOLLOWED,
) -> tuple[Asked, ...]:
    """What the advice asks of each fit, of some hundred sensors at a time that are much alike.

    Parameters
    ----------
    outlook : Outlook
        By the estimate.
    weighed : Weighed
        Its alternatives.
    action : series, indexed by sensor
        What is advised.
    settings : PlanSettings
        With the planning horizon.
    most : int
        Sensors followed of those with the same work now.
    """
    now = work_now(outlook, weighed, action)
    chance = outlook.sensors["defect_now"].to_numpy(float)[weighed.places]
    km = horizon_of(weighed.km_per_day, settings)
    found = []
    for work in ("", "test", "replace"):
        own = _evenly(np.flatnonzero(now == work), chance, most)
        looked_at = [_looked_at(outlook, weighed, some) for some in _parts(work, own, km)]
        order = np.argsort(np.concatenate([np.zeros(0), *looked_at]), kind="stable")
        found += _parts(work, own[order], km)
    return tuple(found)


def work_now(outlook: Outlook, weighed: Weighed, action: pd.Series) -> np.ndarray:
    """The work advised now of each sensor whose chances are known, blank where none."""
    ids = outlook.sensors["sensor_id"].iloc[weighed.places]
    return action.reindex(ids).map(NOW).fillna("").to_numpy(dtype=object)


def _evenly(places: np.ndarray, chance: np.ndarray, most: int) -> np.ndarray:
    """So many of the places, spread over their chances; in their own order."""
    if len(places) <= most:
        return places
    ordered = places[np.argsort(chance[places], kind="stable")]
    middle = (np.arange(most) + 0.5) * len(places) / most
    return np.sort(ordered[middle.astype(int)])


def _parts(work: str, places: np.ndarray, horizon_km: np.ndarray) -> list[Asked]:
    """So many sensors at a time as stay in the processor's cache."""
    found = []
    for start in range(0, len(places), AT_ONCE):
        some = places[start : start + AT_ONCE]
        km = horizon_km[some]
        end = np.clip(np.searchsorted(KM_AHEAD, km, "right") - 1, 0, len(KM_AHEAD) - 2)
        share = (km - KM_AHEAD[end]) / np.diff(KM_AHEAD)[end]
        tests = {"": range(1, int(end.max()) + 1), "test": range(1), "replace": range(0)}[work]
        ends = range(int(end.min()), int(end.max()) + 2)
        points = range(min([*tests[:1], ends.start]), ends.stop)
        found.append(Asked(work, some, km, end, share, tests, ends, points))
    return found


def _looked_at(outlook: Outlook, weighed: Weighed, asked: Asked) -> np.ndarray:
    """How many chances of the grid each sensor alone would have looked at, at all points."""
    places, rate = weighed.places[asked.places], outlook.heard_per_km
    belief, onset = outlook.sensors["defect_now"].to_numpy(float)[places], outlook.onset[places]
    grid = belief_grid(BELIEFS)
    here = asked.rows(outlook.test, left_alone(belief, onset, rate, KM_AHEAD))
    rows, total = np.zeros((2, len(places)), dtype=int)
    for k, length in enumerate(np.diff(KM_AHEAD)):
        rows = np.maximum(rows, here[k])
        total += rows
        onwards = riding_step(onset[:, k], float(length), rate).onwards(grid[rows - 1])
        rows = np.where(rows > 0, near(onwards, BELIEFS) + 2, 0)
    return total


class Fits(NamedTuple):
    """Fits that may be true: of the sensors named, chances of a defect by distance.

    ``km`` rising from 0, shape (k,); ``chances`` of shape (fits, m, k); ``heard_per_km`` the rates
    at which a defect is heard of, shape (fits,).
    """

    sensor_ids: np.ndarray
    km: np.ndarray
    chances: np.ndarray
    heard_per_km: np.ndarray


def followed(outlook: Outlook, weighed: Weighed, some: Sequence[Asked], fits: Fits) -> Followed:
    """Cost of following the advice, and of doing nothing, under each fit.

    Parameters
    ----------
    outlook : Outlook
        By the estimate.
    weighed : Weighed
        Its alternatives, whose prices stand.
    some : sequence of Asked
        From ``asked``.
    fits : Fits
        Of the sensors whose chances are known, at least.
    """
    costs = Followed(*np.full((2, len(fits.heard_per_km), len(weighed.places)), np.nan))
    row = row_by_sensor(outlook.sensors.iloc[weighed.places], fits.sensor_ids)
    for each in some:  # side by side they would push each other out of the processor's cache
        part = _costs(outlook, weighed, fits, row, each)
        costs.advised[:, each.places], costs.nothing[:, each.places] = part
    return costs


def all_by_fit(found: Followed, by_estimate: Followed, now: np.ndarray) -> Followed:
    """Cost of all sensors together under each fit, shape (fits,), from those that were followed.

    Parameters
    ----------
    found : Followed
        By fit, blank where a sensor was not followed.
    by_estimate : Followed
        Of all, arrays of shape (n,).
    now : array of shape (n,)
        From ``work_now``: those with the same are taken to change alike.
    """
    totals = []
    for under, estimate in zip(found, by_estimate, strict=True):
        total = np.full(len(under), estimate.sum())
        for work in np.unique(now):
            own = np.flatnonzero(now == work)
            changes = (under - estimate)[:, own]
            total += np.nanmean(changes, axis=1) * len(own)
        totals.append(total)
    return Followed(*totals)


def _costs(
    outlook: Outlook, weighed: Weighed, fits: Fits, row: np.ndarray, asked: Asked
) -> tuple[np.ndarray, np.ndarray]:
    """Of some sensors, by fit."""
    own, prices = outlook.of(weighed.places[asked.places]), weighed.prices.take(asked.places)
    found = [
        _cost(
            under_fit(own, fits.km, chances[row[asked.places]].astype(float), float(rate)),
            prices,
            asked,
        )
        for chances, rate in zip(fits.chances, fits.heard_per_km, strict=True)
    ]
    return tuple(np.stack(costs) for costs in zip(*found, strict=True))


def _cost(fit: Outlook, prices: Prices, asked: Asked) -> Followed:
    """Of some sensors under one fit, from what they cost above a new one's long run."""

    def rows(path: Path) -> np.ndarray:
        return asked.rows(fit.test, path).max(axis=1)

    belief = fit.sensors["defect_now"].to_numpy(float)
    course = course_of(belief, fit.onset, fit.test, fit.heard_per_km, KM_AHEAD, BELIEFS, rows)
    before, silent = course.path.cost(prices), course.path.silent
    tested, (low, high) = _backwards(course, prices, before, asked)
    nothing = low * (1 - asked.share) + high * asked.share
    replaced = before + silent * prices.replace
    ahead = np.where(KM_AHEAD[:, None] <= asked.km, replaced, np.inf)[1:].min(axis=0)
    later = np.minimum(np.minimum(tested, ahead), nothing)
    advised = {"replace": replaced[0], "test": tested, "": later}[asked.now]
    usual = prices.usual_per_km * asked.km
    return Followed(advised + usual, nothing + usual)


def _backwards(
    course: Course, prices: Prices, before: np.ndarray, asked: Asked
) -> tuple[np.ndarray, np.ndarray]:
    """Least cost of a test at the points asked of, and cost of what is cheapest about the horizon.

    Shapes (n,) and (2, n): at the point before the horizon and at the next.
    """
    back, silent = Backwards(course, prices), course.path.silent
    tested, ends = np.full(len(asked.places), np.inf), np.empty((2, len(asked.places)))
    ends[1] = before[-1] + silent[-1] * prices.replace
    for k in reversed(range(asked.points.start, len(course.onset))):
        back.back_to(k)
        if k not in asked.tests and k not in asked.ends:
            continue
        here = back.test_here(k)
        if k in asked.tests:
            cost = np.where(KM_AHEAD[k] <= asked.km, before[k] + silent[k] * here, np.inf)
            np.minimum(tested, cost, out=tested)
        if k in asked.ends:
            some = asked.ends_at(k)
            best = back.best_here(k, here[some], some)
            ends[k - asked.end[some], some] = before[k][some] + silent[k][some] * best
    return tested, ends
