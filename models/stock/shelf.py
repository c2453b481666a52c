"""What a shop has of a part today: on hand since the last count, and on its way."""

from __future__ import annotations

from datetime import date

import numpy as np
import pandas as pd

from models.stock.schemas import STOCK_COUNTS
from models.stock.settings import StockSettings

COUNTED, STALE, NEVER = "counted", "stale", "never"
NONE, DUE, OVERDUE, ASSUMED = "none", "due", "overdue", "assumed"


def shelf_today(
    wanted: pd.DataFrame, counts: pd.DataFrame, day: date, settings: StockSettings
) -> pd.DataFrame:
    """Parts on hand and due for each shop and part asked for.

    Parts fitted since the count are taken from the shelf and, beyond that, from what was on order.
    An order without a date is due after the part's lead time from the count; one that is overdue
    is taken to come within the review period. A part never counted is taken as not there.

    Parameters
    ----------
    wanted : frame of shape (n, ...)
        ``shop_id``, ``part_no``, ``lead_time_days``.
    counts : frame
        STOCK_COUNTS.
    day : date
        The as-of day.
    settings : StockSettings
        ``review_days``, ``stock_count_stale_after_days``.

    Returns
    -------
    frame in the order of ``wanted`` with ``count_state``, ``counted_on``, ``counted``,
    ``used_since``, ``on_hand``, ``due``, ``due_on``, ``due_state``, ``due_in_days``
    """
    key = ["shop_id", "part_no"]
    rows = wanted[[*key, "lead_time_days"]].merge(STOCK_COUNTS.check(counts), on=key, how="left")
    today = pd.Timestamp(day)
    used = rows["used_since"].fillna(0).astype(int)
    counted = rows["on_hand"].fillna(0).astype(int)
    due = (rows["on_order"].fillna(0).astype(int) - (used - counted).clip(lower=0)).clip(lower=0)
    lead = pd.to_timedelta(rows["lead_time_days"].astype(int), unit="D")
    due_on = rows["order_due_on"].fillna(rows["counted_on"] + lead)
    late = due_on < today
    in_days = (due_on - today).dt.days.where(~late, settings.review_days)
    age = (today - rows["counted_on"]).dt.days
    state = np.select(
        [rows["counted_on"].isna(), age > settings.stock_count_stale_after_days],
        [NEVER, STALE],
        COUNTED,
    )
    coming = np.select(
        [due.eq(0), late, rows["order_due_on"].isna()], [NONE, OVERDUE, ASSUMED], DUE
    )
    return pd.DataFrame(
        {
            "count_state": state,
            "counted_on": rows["counted_on"],
            "counted": rows["on_hand"],
            "used_since": used,
            "on_hand": (counted - used).clip(lower=0),
            "due": due,
            "due_on": due_on.where(due > 0),
            "due_state": coming,
            "due_in_days": in_days.fillna(0).where(due > 0, 0).astype(int),
        }
    )
