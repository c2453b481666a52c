"""Make one shop's problem from its bikes, their sensors and what the shop has."""

from __future__ import annotations

from itertools import combinations
from typing import NamedTuple

import numpy as np

from models.check_plan.case import ShopCase

#: Sensors of one bike up to which every set of them is a choice; beyond, only the best few first.
_EVERY_SET_UP_TO = 3


class BikeSensors(NamedTuple):
    """The sensors of a shop's bikes, by bike; arrays by sensor, and by sensor and day.

    ``bike`` number of each sensor's bike; ``gain`` -inf on a day that it cannot be worked on;
    ``uses`` parts taken from each pool, shape (sensors, days, pools).
    """

    bike: np.ndarray
    gain: np.ndarray
    hours: np.ndarray
    uses: np.ndarray


class Made(NamedTuple):
    """A case, and which sensors each of its choices holds (places in ``BikeSensors``)."""

    case: ShopCase
    members: list[tuple[int, ...]]


def shop_case(
    sensors: BikeSensors,
    depot: np.ndarray,
    free: np.ndarray,
    bay_hours: np.ndarray,
    limits: np.ndarray,
    depot_day_cost: float,
) -> Made:
    """One shop's problem.

    Parameters
    ----------
    sensors : BikeSensors
        Of the shop's bikes; every bike has at least one.
    depot : array of int, shape (bikes,)
        Number of each bike's depot, -1 for a private one.
    free : array of bool, shape (bikes, days)
        Days on which each bike can come.
    bay_hours : array of shape (days,)
        Bay hours for checks.
    limits : array of shape (pools,)
        Parts in each pool.
    depot_day_cost : float
        Cost of a day on which bikes of one depot come.
    """
    members = _choices(sensors)
    single = len(members) == len(sensors.bike)
    if single:
        gain, hours, uses = sensors.gain, sensors.hours, sensors.uses
    else:
        gain, hours, uses = (
            summed(values, members) for values in (sensors.gain, sensors.hours, sensors.uses)
        )
    bike = sensors.bike[[some[0] for some in members]]
    can = free[bike] & (hours <= bay_hours)
    can &= ~(uses > limits).any(axis=2)
    _, place = np.unique(depot[depot >= 0], return_inverse=True)
    numbered = np.full(len(depot), -1)
    numbered[depot >= 0] = place
    case = ShopCase(
        bike,
        numbered,
        np.where(can, gain, -np.inf),
        hours,
        bay_hours,
        uses,
        limits,
        depot_day_cost,
    )
    return Made(case, members)


def summed(values: np.ndarray, members: list[tuple[int, ...]]) -> np.ndarray:
    """What the sensors of each choice come to together; as many at once as hold as many."""
    sizes = np.array([len(some) for some in members])
    first = np.array([some[0] for some in members])
    total = values[first]
    for size in np.unique(sizes[sizes > 1]).tolist():
        rows = np.flatnonzero(sizes == size)
        total[rows] = values[np.array([members[row] for row in rows])].sum(axis=1)
    return total


def _choices(sensors: BikeSensors) -> list[tuple[int, ...]]:
    """Sets of a bike's sensors that may be worked on in one visit, by bike."""
    starts = np.flatnonzero(np.diff(sensors.bike, prepend=-1))
    ends = np.append(starts, len(sensors.bike))[1:]
    found: list[tuple[int, ...]] = []
    for start, end in zip(starts.tolist(), ends.tolist(), strict=True):
        own = range(start, end)
        if len(own) <= _EVERY_SET_UP_TO:
            found += [some for k in range(1, len(own) + 1) for some in combinations(own, k)]
            continue
        most = sensors.gain[start:end].max(axis=1) / sensors.hours[start:end].min(axis=1)
        order = (start + np.argsort(-most, kind="stable")).tolist()
        found += [tuple(sorted(order[:k])) for k in range(1, len(order) + 1)]
    return found
