"""What to order today: parts to add, transfers first, whole packs, and none for slow movers."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from models.stock.base_stock import (
    ReviewCycle,
    base_stock_for_share,
    cycle_cost,
    holding_of,
    least_for_costs,
    least_for_share,
)
from models.stock.pooling import transfers
from models.stock.settings import COSTS, DAYS_A_YEAR, StockSettings


@dataclass(frozen=True)
class Orders:
    """Decision for each group, arrays of shape (groups,); ``moved`` is STOCK_TRANSFERS.

    ``aim`` is the number of parts lacking before transfers, ``parts`` what is ordered.
    """

    aim: np.ndarray
    parts: np.ndarray
    transfer_in: np.ndarray
    transfer_out: np.ndarray
    none_is_right: np.ndarray
    keep_one_cost: np.ndarray
    keep_none_cost: np.ndarray
    moved: pd.DataFrame


def decide_orders(
    groups: pd.DataFrame,
    cycle: ReviewCycle,
    on_hand: np.ndarray,
    settings: StockSettings,
    allowed: pd.DataFrame,
) -> Orders:
    """Parts to order today.

    Of a slow mover none is stocked, whatever the target.

    Parameters
    ----------
    groups : frame of shape (n, ...)
        ``shop_id``, ``part_no``, ``unit_price``, ``pack_size``, ``covered_days``, ``can_order``.
    cycle : ReviewCycle of n groups
        Needs and the parts there.
    on_hand : array of shape (n,)
        On the shelf today, which alone can be passed on.
    settings : StockSettings
        Targets and costs.
    allowed : frame
        TRANSFERS_ALLOWED.
    """
    price, pack = groups["unit_price"].to_numpy(float), groups["pack_size"].to_numpy(int)
    covered_days = groups["covered_days"].to_numpy(float)
    per_year = cycle.needs.mean[:, 2] * DAYS_A_YEAR / covered_days
    keep_none, keep_one = none_or_one(cycle, price, covered_days, settings)
    slow = keep_none <= keep_one
    aim = np.where(slow, 0, lacking_parts(cycle, price, settings))
    moved = transfers(groups, aim, np.zeros_like(aim), allowed.iloc[:0])
    if len(allowed):
        spare = np.where(slow, on_hand, spare_parts(cycle, price, on_hand, settings))
        wants = np.where(slow, 0, np.maximum(aim, lacking_at_once(cycle, settings)))
        moved = transfers(groups, wants, np.where(wants > 0, 0, spare), allowed)
    taken, given = (_sum_of(moved, groups, side) for side in ("to_shop", "from_shop"))
    after = moved_in(cycle, taken - given)
    wanted = np.where(slow, 0, _packs(after, price, pack, settings) * pack)
    wanted = _put_together(after, wanted, per_year, keep_one, pack, settings)
    wanted = np.where(groups["can_order"], wanted, 0)
    return Orders(aim, wanted.astype(int), taken, given, slow, keep_one, keep_none, moved)


def none_or_one(
    cycle: ReviewCycle, price: np.ndarray, covered_days: np.ndarray, settings: StockSettings
) -> tuple[np.ndarray, np.ndarray]:
    """Cost of a year of keeping none, in missed needs, and of keeping one, shape (groups,).

    A part is a slow mover where the first is not above the second. For a stock that is refilled
    one for one this is exact: both costs are worn for the same share of the time.
    """
    per_year = cycle.needs.mean[:, 2] * DAYS_A_YEAR / covered_days
    keep_one = holding_of(price, DAYS_A_YEAR, settings.holding_cost_share_per_year)
    return settings.shortage_cost * per_year, keep_one


def moved_in(cycle: ReviewCycle, parts: np.ndarray) -> ReviewCycle:
    """The cycle with so many parts more on the shelf from today."""
    return replace(
        cycle, there_early=cycle.there_early + parts, there_late=cycle.there_late + parts
    )


def lacking_parts(cycle: ReviewCycle, price: np.ndarray, settings: StockSettings) -> np.ndarray:
    """Single parts to add, shape (groups,)."""
    return _packs(cycle, price, np.ones(len(price), dtype=int), settings)


def lacking_at_once(cycle: ReviewCycle, settings: StockSettings) -> np.ndarray:
    """Single parts lacking before an order placed today can come, shape (groups,).

    Parts from another shop are there at once: they serve this time as well as the cycle after it.
    """
    lead = cycle.needs.of((slice(None), 0))
    level = base_stock_for_share(lead, settings.target_filled_share)
    return np.maximum(level - cycle.there_early, 0)


def spare_parts(
    cycle: ReviewCycle, price: np.ndarray, on_hand: np.ndarray, settings: StockSettings
) -> np.ndarray:
    """Most parts on hand that can be given away with nothing lacking after it."""
    most = int(np.max(on_hand, initial=0))
    spare = np.zeros(len(on_hand), dtype=int)
    for given in range(1, most + 1):  # what is lacking rises with what is given
        left = moved_in(cycle, -np.full(len(on_hand), given))
        lacks = lacking_parts(left, price, settings) + lacking_at_once(left, settings)
        enough = lacks == 0
        spare = np.where(enough & (given <= on_hand), given, spare)
    return spare


def _packs(
    cycle: ReviewCycle, price: np.ndarray, pack: np.ndarray, settings: StockSettings
) -> np.ndarray:
    """Packs to add."""
    if settings.order_by == COSTS:
        return least_for_costs(
            cycle,
            price,
            review_days=settings.review_days,
            holding_cost_share_per_year=settings.holding_cost_share_per_year,
            shortage_cost=settings.shortage_cost,
            pack_size=pack,
        )
    return least_for_share(cycle, settings.target_filled_share, pack)


def _put_together(
    cycle: ReviewCycle,
    wanted: np.ndarray,
    per_year: np.ndarray,
    keep_one: np.ndarray,
    pack: np.ndarray,
    settings: StockSettings,
) -> np.ndarray:
    """At least the economic quantity Q = sqrt(2 K d / h) (Harris 1913, from memory), in packs.

    By costs the order waits for the next review where holding it until then costs more than it
    saves in missed needs; in the long run that is the reorder point of a stock refilled by Q,
    where the chance of running out in a cycle is h Q / (cost of a missed need x d) (Silver, Pyke &
    Peterson, Inventory Management, 3rd ed. 1998, sec. 7.7; from memory).
    """
    if settings.order_cost == 0:
        return wanted
    economic = np.sqrt(2 * settings.order_cost * per_year / np.maximum(keep_one, 1e-9))
    lot = np.where(wanted > 0, np.maximum(wanted, np.rint(economic / pack) * pack), 0)
    if settings.order_by != COSTS:
        return lot
    review = settings.review_days / DAYS_A_YEAR
    both = np.stack([np.zeros(len(lot)), lot], axis=1).astype(int)
    cost = cycle_cost(cycle, both, keep_one * review, settings.shortage_cost)
    return np.where(cost[:, 0] > cost[:, 1], lot, 0)


def _sum_of(moved: pd.DataFrame, groups: pd.DataFrame, side: str) -> np.ndarray:
    total = moved.groupby([side, "part_no"])["parts"].sum()
    index = pd.MultiIndex.from_frame(groups[["shop_id", "part_no"]])
    return total.reindex(index, fill_value=0).to_numpy(int)
