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

import numpy as np
import pandas as pd

_FAR = 10_000


@dataclass(frozen=True)
class Pool:
    """Sensors of ``until``'s numbers that come up to its days take ``limit`` parts at most."""

    until: dict[str, int]
    limit: int


def supply_by_day(stock: pd.DataFrame, as_of: date) -> dict[tuple[str, str], list[tuple[int, int]]]:
    """Parts of each shop and number: (day from the as-of day, parts there from then on).

    An order is there on the day it is due. Where that lay past when the parts were counted, it is
    late and not counted on; where no day is given, the usual lead time from the count is.

    Parameters
    ----------
    stock : frame of shape (n, ...)
        Columns of ``CHECK_STOCK``, the last count of each shop and part.
    as_of : date
        The as-of day.
    """
    supply: dict[tuple[str, str], list[tuple[int, int]]] = {}
    for row in stock.to_dict("records"):
        there = [(0, int(row["on_hand"]))]
        due = _due(row, as_of)
        if due is not None and row["on_order"] > 0:
            there.append((due, int(row["on_order"])))
        supply[row["shop_id"], row["part_no"]] = there
    return supply


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
    supply: dict[tuple[str, str], list[tuple[int, int]]],
    chains: dict[str, list[str]],
) -> list[Pool]:
    """The pools of a shop for sensors of the numbers given."""
    pools = []
    for chain in _longest([chains.get(part, [part]) for part in part_nos]):
        steps = sorted({d - 1 for p in chain for d, _ in supply.get((shop_id, p), []) if d > 1})
        for start in range(len(chain)):
            numbers = chain[start:]
            for days in combinations_with_replacement([*steps, _FAR], len(numbers)):
                limit = sum(
                    there
                    for part, day in zip(numbers, days, strict=True)
                    for due, there in supply.get((shop_id, part), [])
                    if due <= day
                )
                pools.append(Pool(dict(zip(numbers, days, strict=True)), limit))
    return pools + _together(shop_id, part_nos, supply, chains)


def _together(
    shop_id: str,
    part_nos: list[str],
    supply: dict[tuple[str, str], list[tuple[int, int]]],
    chains: dict[str, list[str]],
) -> list[Pool]:
    """Where one number supersedes several, all of them together."""
    pools = []
    for end in {chains.get(part, [part])[-1] for part in part_nos}:
        family = sorted(part for part, chain in chains.items() if chain[-1] == end)
        there = [one for part in family for one in supply.get((shop_id, part), [])]
        for day in sorted({_FAR, *(due - 1 for due, _ in there if due > 1)}):
            limit = sum(count for due, count in there if due <= day)
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
    for pool in pools:
        until = np.array([pool.until.get(part, -1) for part in part_nos])
        takes = replaces & (days <= until[:, None])
        if takes.any(axis=1).sum() > pool.limit:
            kept.append(takes)
            limits.append(pool.limit)
    shape = (*replaces.shape, 0)
    uses = np.stack(kept, axis=2).astype(np.int8) if kept else np.zeros(shape, dtype=np.int8)
    return uses, np.array(limits, dtype=float)
