"""Part numbers that took the place of others.

A number whose supply has ended is ordered as the number that replaced it. What is left of it on the
shelf is used first, where it fits; targets are held for the needs that it cannot meet. Numbers fit
one way: the new one wherever the old one did; the old one in place of the new one only where the
fitments list it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date

import numpy as np
import pandas as pd

from models.stock.counts import CountDistribution
from models.stock.schemas import FITMENTS, PARTS_SUPPLY, SENSOR_PLACES

OPEN, ENDED = "open", "ended"


@dataclass(frozen=True)
class Numbers:
    """How part numbers follow one another on one day.

    Attributes
    ----------
    next_of : dict
        Number out of supply to the number that took its place.
    before : dict
        The other way round: a number to those out of supply whose place it took.
    """

    next_of: Mapping[str, str]
    before: Mapping[str, tuple[str, ...]] = field(default_factory=dict)

    def ordered_as(self, part_no: str) -> str:
        """Number that a need for this one is ordered as: the end of its chain."""
        while part_no in self.next_of:
            part_no = self.next_of[part_no]
        return part_no

    def older(self, part_no: str) -> list[str]:
        """All numbers out of supply that lead to this one, the nearest first."""
        found = list(self.before.get(part_no, ()))
        for number in found:  # grows as it goes
            found.extend(self.before.get(number, ()))
        return found


def follow_numbers(parts: pd.DataFrame, day: date) -> Numbers:
    """Which numbers are ordered as which on a day; numbers in a ring stay themselves.

    Parameters
    ----------
    parts : frame
        PARTS_SUPPLY.
    day : date
        The as-of day; a number's supply has ended if its last day is before it.
    """
    rows = PARTS_SUPPLY.check(parts)
    over = rows["supply_ends_on"].notna() & rows["supply_ends_on"].lt(pd.Timestamp(day))
    replaced = rows["replaced_by"].notna() & rows["replaced_by"].ne("")
    ended = rows[over & replaced]
    following = dict(zip(ended["part_no"], ended["replaced_by"], strict=True))
    following = {old: new for old, new in following.items() if not _in_a_ring(old, following)}
    before: dict[str, tuple[str, ...]] = {}
    for old, new in sorted(following.items()):
        before[new] = (*before.get(new, ()), old)
    return Numbers(following, before)


def _in_a_ring(part_no: str, following: Mapping[str, str]) -> bool:
    seen = {part_no}
    while part_no in following:
        part_no = following[part_no]
        if part_no in seen:
            return True
        seen.add(part_no)
    return False


def oldest_that_fits(
    sensors: pd.DataFrame, places: pd.DataFrame, fitments: pd.DataFrame, numbers: Numbers
) -> np.ndarray:
    """For each sensor the oldest number whose stock can meet its need, shape (n,).

    Parameters
    ----------
    sensors : frame
        ``sensor_id``, ``part_no``.
    places : frame
        SENSOR_PLACES; a sensor that is not in it takes its own number and newer ones alone.
    fitments : frame
        FITMENTS.
    numbers : Numbers
        From ``follow_numbers``.
    """
    own = sensors["part_no"].to_numpy(object)
    older = {number: numbers.older(number) for number in set(own)}
    asked = np.flatnonzero([bool(older[number]) for number in own])
    where = SENSOR_PLACES.check(places).set_index("sensor_id")
    where = where.reindex(sensors["sensor_id"].iloc[asked])
    listed = set(FITMENTS.check(fitments).itertuples(index=False, name=None))
    oldest = own.copy()
    for at, model, mount in zip(asked, where["model_code"], where["mount"], strict=True):
        fitting = [old for old in older[own[at]] if (old, model, mount) in listed]
        oldest[at] = fitting[-1] if fitting else own[at]
    return oldest


def asked_beyond_old(
    part_no: str,
    own: Mapping[str, CountDistribution],
    old_stock: Mapping[str, np.ndarray],
    numbers: Numbers,
) -> CountDistribution:
    """Parts of a number asked for once the stock of the older ones is used where it fits.

    The needs that an old number can meet are met by it first; what they ask beyond its stock is
    added to those of the number that took its place: D = D_new + (D_old - stock)+.

    Parameters
    ----------
    part_no : str
        The number.
    own : mapping of number to CountDistribution
        Needs by the oldest number that can meet them.
    old_stock : mapping of number to whole numbers
        Stock of the numbers out of supply, to be broadcast to the needs' shape.
    numbers : Numbers
        From ``follow_numbers``.
    """
    asked = own[part_no]
    for old in numbers.before.get(part_no, ()):
        if old in own:
            left = asked_beyond_old(old, own, old_stock, numbers)
            asked = asked.plus(left.beyond(old_stock.get(old, np.array(0))))
    return asked
