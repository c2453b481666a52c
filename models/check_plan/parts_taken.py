"""Which part each planned replacement takes, so that none is counted twice.

Replacements are gone through by day. Each takes a part of its own number, else of the nearest that
supersedes it: own numbers serve fewest others, so that taking them first never leaves a later one
without. Of one number, what is there or on its way is taken before what is only advised today.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import NamedTuple

from models.check_plan.stock import DUE, FETCHED, SHELF, TODAY, Arrival, Supply

_SUREST_FIRST = (SHELF, DUE, FETCHED, TODAY)
#: Sources that are no more than today's advice.
ADVISED = (FETCHED, TODAY)


class Replacement(NamedTuple):
    """One planned replacement: its sensor (row of the gains), part number, and days ahead."""

    sensor: int
    part_no: str
    day: int


class Taken(NamedTuple):
    """The part set aside for a replacement: its number, where it comes from, days until there."""

    part_no: str
    source: str
    due: int


def parts_taken(
    shop_id: str,
    replacements: Iterable[Replacement],
    supply: Supply,
    chains: Mapping[str, list[str]],
) -> dict[int, Taken]:
    """The part of each sensor that gets one, by sensor.

    Parameters
    ----------
    shop_id : str
        The shop.
    replacements : iterable of Replacement
        All that are planned there.
    supply : dict
        From ``models.check_plan.stock.supply_by_day``.
    chains : dict
        From ``models.check_plan.stock.successors``.
    """
    left: dict[str, list[Arrival]] = {}
    taken = {}
    for sensor, part_no, day in sorted(replacements, key=lambda one: (one.day, one.sensor)):
        for number in chains.get(part_no, [part_no]):
            there = left.setdefault(number, _in_order(supply.get((shop_id, number), [])))
            place = next((n for n, one in enumerate(there) if one.count and one.due <= day), None)
            if place is not None:
                one = there[place]
                there[place] = one._replace(count=one.count - 1)
                taken[sensor] = Taken(number, one.source, one.due)
                break
    return taken


def _in_order(arrivals: list[Arrival]) -> list[Arrival]:
    return sorted(arrivals, key=lambda one: (_SUREST_FIRST.index(one.source), one.due))
