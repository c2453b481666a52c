"""The plan by week: needs, parts coming in, the shelf, and what is to be ordered then.

Later orders are those that needs as expected would bring: they show what to reckon with and are
decided anew at each review.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
import pandas as pd

from models.stock.counts import CountDistribution, value_at
from models.stock.schemas import STOCK_WEEKS

DAYS_A_WEEK = 7


@dataclass(frozen=True)
class Supply:
    """Parts of each group and the days on which they come; arrays of shape (groups,).

    ``aim`` is the level of on hand and due aimed at by today's order; nothing is ordered later
    where ``can_order`` is false.
    """

    on_hand: np.ndarray
    moved: np.ndarray
    due: np.ndarray
    due_in_days: np.ndarray
    ordered: np.ndarray
    lead_time_days: np.ndarray
    pack_size: np.ndarray
    aim: np.ndarray
    can_order: np.ndarray


def week_days(lead_time_days: np.ndarray, review_days: int, weeks: int) -> np.ndarray:
    """Days ahead at which needs are wanted: each week's end, and what an order then must cover.

    Shape (groups, 2 weeks + 1): the ends of the weeks, then today's and each week's cover.
    """
    ends = DAYS_A_WEEK * np.arange(weeks + 1)
    cover = ends + (lead_time_days + review_days)[:, None]
    return np.hstack([np.broadcast_to(ends[1:], (len(lead_time_days), weeks)), cover])


def by_week(
    groups: pd.DataFrame, needs: CountDistribution, supply: Supply, day: date
) -> pd.DataFrame:
    """The plan by week.

    Parameters
    ----------
    groups : frame of shape (n, ...)
        ``shop_id``, ``part_no``.
    needs : CountDistribution of shape (n, 2 weeks + 1)
        Parts asked for by the days of ``week_days``.
    supply : Supply
        What is there and comes.
    day : date
        The as-of day.

    Returns
    -------
    STOCK_WEEKS, by group and week
    """
    weeks = (needs.mean.shape[1] - 1) // 2
    by_then = needs.of((slice(None), slice(0, weeks)))
    end = DAYS_A_WEEK * np.arange(1, weeks + 1)
    due = np.where(supply.due_in_days[:, None] <= end, supply.due[:, None], 0)
    ordered = np.where(supply.lead_time_days[:, None] <= end, supply.ordered[:, None], 0)
    there = supply.on_hand[:, None] + due
    later = _later_orders(needs.mean, supply, weeks)
    ordered = ordered + _come_by(later, supply.lead_time_days, end)
    after = there + supply.moved[:, None] + ordered
    coming = np.diff(due + ordered + np.maximum(supply.moved, 0)[:, None], axis=1, prepend=0)
    columns = {
        "week": np.broadcast_to(np.arange(1, weeks + 1), there.shape),
        "ends_on": np.broadcast_to(
            np.array([day + timedelta(days=int(d)) for d in end], dtype="datetime64[us]"),
            there.shape,
        ),
        "need": np.diff(by_then.mean, axis=1, prepend=0.0),
        "need_by_then": by_then.mean,
        "need_low": by_then.quantile(0.05),
        "need_high": by_then.quantile(0.95),
        "arrives": coming,
        "on_shelf": after - by_then.mean + value_at(by_then.back_orders, after, 0.0),
        "short_now": 1 - value_at(by_then.cdf, there, 1.0),
        "short_after": 1 - value_at(by_then.cdf, after, 1.0),
        "order_expected": later,
    }
    rows = groups[["shop_id", "part_no"]]
    rows = rows.loc[rows.index.repeat(weeks)].reset_index(drop=True)
    return STOCK_WEEKS.check(rows.assign(**{name: v.reshape(-1) for name, v in columns.items()}))


def _come_by(later: np.ndarray, lead_time_days: np.ndarray, end: np.ndarray) -> np.ndarray:
    """Parts ordered at the weeks' ends that have come by each week's end, (groups, weeks)."""
    comes = end + lead_time_days[:, None]
    return np.sum(later[:, :, None] * (comes[:, :, None] <= end), axis=1)


def _later_orders(mean: np.ndarray, supply: Supply, weeks: int) -> np.ndarray:
    """Parts to order at the end of each week, needs as expected, shape (groups, weeks).

    What is ordered up to then keeps the level's distance from the needs that it must cover.
    """
    position = supply.on_hand + supply.moved + supply.due + supply.ordered
    margin = supply.aim - mean[:, weeks]
    lacking = mean[:, weeks + 1 :] + margin[:, None] - position[:, None]
    packs = np.ceil(np.round(np.maximum(lacking, 0), 6) / supply.pack_size[:, None])
    so_far = np.maximum.accumulate(packs, axis=1) * supply.pack_size[:, None]
    later = np.diff(so_far, axis=1, prepend=0).astype(int)
    return np.where(supply.can_order[:, None], later, 0)
