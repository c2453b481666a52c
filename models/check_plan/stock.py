"""Parts that are there, or due, by each day; a newer number serves where it supersedes an older.

A shop's parts form pools: a sensor may take its own number or one that supersedes it, directly or
through others. What may be taken is limited as Hall's theorem asks (1935, from memory): the sensors
of a chain's number and its successors that come by given days, later days for newer numbers, take
no more than what those numbers have by these days. Where one number supersedes several, their sum
is limited too, which is all that is needed unless their parts come in on different days.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from itertools import combinations_with_replacement
from typing import NamedTuple

import numpy as np
import pandas as pd

from models.check_plan.schemas import CHECK_COMING

_FAR = 10_000
#: Where a part comes from, what is sure first: parts there, on their way, and only advised today.
SHELF, DUE, FETCHED, TODAY = "shelf", "due", "fetched", "today"
#: Days until a part from another shop is there.
_FETCHED_IN = 1


class Arrival(NamedTuple):
    """Parts of one number in one shop, there from so many days from the as-of day on."""

    due: int
    count: int
    source: str = SHELF


Supply = dict[tuple[str, str], list[Arrival]]


@dataclass(frozen=True)
class Pool:
    """Sensors of ``until``'s numbers that come up to its days take ``limit`` parts at most."""

    until: dict[str, int]
    limit: int


def supply_by_day(stock: pd.DataFrame, coming: pd.DataFrame, as_of: date) -> Supply:
    """Parts of each shop and number, and from when on they are there.

    An order is there on the day it is due. Where that lay past when the parts were counted, it is
    late and not counted on; where no day is given, the usual lead time from the count is. What is
    advised to be ordered or fetched today is counted on too, as a source of its own; what is to be
    passed on is not.

    Parameters
    ----------
    stock : frame of shape (n, ...)
        Columns of ``CHECK_STOCK``, the last count of each shop and part.
    coming : frame of shape (m, ...)
        Columns of ``CHECK_COMING``.
    as_of : date
        The as-of day.
    """
    supply: Supply = {}
    for row in stock.to_dict("records"):
        there = [Arrival(0, int(row["on_hand"]))]
        due = _due(row, as_of)
        if due is not None and row["on_order"] > 0:
            there.append(Arrival(due, int(row["on_order"]), DUE))
        supply[row["shop_id"], row["part_no"]] = there
    for row in coming.to_dict("records"):
        own = supply.setdefault((row["shop_id"], row["part_no"]), [Arrival(0, 0)])
        own[0] = Arrival(0, max(own[0].count - int(row["passed_on"]), 0))
        if row["fetched"] > 0:
            own.append(Arrival(_FETCHED_IN, int(row["fetched"]), FETCHED))
        if row["ordered"] > 0:
            due = max((row["due_on"] - pd.Timestamp(as_of)).days, 0)
            own.append(Arrival(due, int(row["ordered"]), TODAY))
    return supply


def coming_today(orders: pd.DataFrame, as_of: date) -> pd.DataFrame:
    """What today's stock plan would bring in or pass on: CHECK_COMING.

    Parameters
    ----------
    orders : frame of shape (n, ...)
        With ``shop_id``, ``part_no``, ``order_parts``, ``lead_time_days``, ``transfer_in`` and
        ``transfer_out`` of ``STOCK_ORDERS``.
    as_of : date
        The as-of day, on which the order would be placed.
    """
    moves = orders[["order_parts", "transfer_in", "transfer_out"]].gt(0).any(axis=1)
    rows = orders[moves.astype(bool)]
    lead = pd.to_timedelta(rows["lead_time_days"].astype(float), unit="D")
    return CHECK_COMING.check(
        pd.DataFrame(
            {
                "shop_id": rows["shop_id"],
                "part_no": rows["part_no"],
                "ordered": rows["order_parts"],
                "due_on": pd.Timestamp(as_of) + lead,
                "fetched": rows["transfer_in"],
                "passed_on": rows["transfer_out"],
            }
        ).reset_index(drop=True)
    )


def _due(row: dict, as_of: date) -> int | None:
    counted, due = pd.Timestamp(row["counted_on"]), row["order_due_on"]
    if pd.isna(due):
        if pd.isna(row["lead_time_days"]):
            return None
        due = counted + pd.Timedelta(days=float(row["lead_time_days"]))
    elif due <= counted:
        return None
    return max((due - pd.Timestamp(as_of)).days, 0)


def successors(parts: pd.DataFrame) -> dict[str, list[str]]:
    """Each number with those that supersede it, itself first; a ring ends where it began."""
    after = parts.dropna(subset="replaced_by").set_index("part_no")["replaced_by"].to_dict()
    chains = {}
    for part in {*parts["part_no"], *after.values()}:
        chain = [part]
        while after.get(chain[-1]) not in (None, *chain):
            chain.append(after[chain[-1]])
        chains[part] = chain
    return chains


def pools_of_shop(
    shop_id: str,
    part_nos: list[str],
    supply: Supply,
    chains: dict[str, list[str]],
) -> list[Pool]:
    """The pools of a shop for sensors of the numbers given."""
    pools = []
    for chain in _longest([chains.get(part, [part]) for part in part_nos]):
        there = [one for part in chain for one in supply.get((shop_id, part), [])]
        steps = sorted({one.due - 1 for one in there if one.due > 1})
        for start in range(len(chain)):
            numbers = chain[start:]
            for days in combinations_with_replacement([*steps, _FAR], len(numbers)):
                limit = sum(
                    one.count
                    for part, day in zip(numbers, days, strict=True)
                    for one in supply.get((shop_id, part), [])
                    if one.due <= day
                )
                pools.append(Pool(dict(zip(numbers, days, strict=True)), limit))
    return pools + _together(shop_id, part_nos, supply, chains)


def _together(
    shop_id: str,
    part_nos: list[str],
    supply: Supply,
    chains: dict[str, list[str]],
) -> list[Pool]:
    """Where one number supersedes several, all of them together."""
    pools = []
    for end in {chains.get(part, [part])[-1] for part in part_nos}:
        family = sorted(part for part, chain in chains.items() if chain[-1] == end)
        there = [one for part in family for one in supply.get((shop_id, part), [])]
        for day in sorted({_FAR, *(one.due - 1 for one in there if one.due > 1)}):
            limit = sum(one.count for one in there if one.due <= day)
            pools.append(Pool(dict.fromkeys(family, day), limit))
    return pools


def _longest(chains: list[list[str]]) -> list[list[str]]:
    """Chains without those that are the end of another."""
    found: list[list[str]] = []
    for chain in sorted(chains, key=len, reverse=True):
        if not any(chain == other[-len(chain) :] for other in found):
            found.append(chain)
    return found


def uses_of_pools(
    part_nos: np.ndarray, replaces: np.ndarray, days: np.ndarray, pools: list[Pool]
) -> tuple[np.ndarray, np.ndarray]:
    """Parts that each sensor takes from each pool, and the limits, of pools that may run short.

    Parameters
    ----------
    part_nos : array of str, shape (n,)
        Number of each sensor.
    replaces : array of bool, shape (n, days)
        Whether the visit replaces it.
    days : array of int, shape (days,)
        Days from the as-of day.
    pools : list of Pool
        The shop's.

    Returns
    -------
    uses : array of int, shape (n, days, kept pools)
    limits : array of shape (kept pools,)
    """
    kept, limits = [], []
    numbers, own = np.unique(part_nos.astype(str), return_inverse=True)
    for pool in pools:
        until = np.array([pool.until.get(part, -1) for part in numbers.tolist()], dtype=int)[own]
        takes = replaces & (days <= until[:, None])
        if takes.any(axis=1).sum() > pool.limit:
            kept.append(takes)
            limits.append(pool.limit)
    shape = (*replaces.shape, 0)
    uses = np.stack(kept, axis=2).astype(np.int8) if kept else np.zeros(shape, dtype=np.int8)
    return uses, np.array(limits, dtype=float)
