"""The last order of a part that goes out of supply with no number in its place.

It must last for the whole time in which sensors of that number are still to be served. The needs of
that time are one period, whose parts left over are worth nothing: the quantity is the least that
fills the target share, or the newsvendor's with the price as the cost of one too many. Beyond the
last horizon of the chances, sensors are taken to go on asking at their mean rate, and none to
leave: such a forecast is rough, and its range is to be looked at.
"""

from __future__ import annotations

from datetime import date, timedelta

import numpy as np
import pandas as pd

from models.stock.base_stock import base_stock_for_share
from models.stock.counts import CountDistribution, value_at
from models.stock.schemas import LAST_TIME_BUYS
from models.stock.settings import COSTS, StockSettings

OPEN, CLOSING, ENDED = "open", "closing", "ended"


def last_buys(
    groups: pd.DataFrame,
    needs: CountDistribution,
    in_stock: np.ndarray,
    day: date,
    settings: StockSettings,
) -> pd.DataFrame:
    """What to buy before supply ends.

    Parameters
    ----------
    groups : frame of shape (n, ...)
        ``shop_id``, ``part_no``, ``supply_ends_on``, ``unit_price``, ``pack_size``.
    needs : CountDistribution of shape (n,)
        Parts asked for within ``last_order_covers_days``.
    in_stock : array of shape (n,)
        On hand and due.
    day : date
        The as-of day.
    settings : StockSettings
        Target or costs.

    Returns
    -------
    LAST_TIME_BUYS, in the order given
    """
    aim = _aim(needs, groups["unit_price"].to_numpy(float), settings)
    pack = groups["pack_size"].to_numpy(int)
    ends = groups["supply_ends_on"]
    last_look = pd.Timestamp(day + timedelta(days=settings.review_days))
    over = (ends < pd.Timestamp(day)).to_numpy()
    state = np.select([over, (ends < last_look).to_numpy()], [ENDED, CLOSING], OPEN)
    buy = np.where(over, 0, -(-np.maximum(aim - in_stock, 0) // pack) * pack)
    missed = value_at(needs.back_orders, in_stock + buy, 0.0)
    return LAST_TIME_BUYS.check(
        groups[["shop_id", "part_no", "supply_ends_on"]].assign(
            state=state,
            covers_days=float(settings.last_order_covers_days),
            need=needs.mean,
            need_low=needs.quantile(0.05),
            need_high=needs.quantile(0.95),
            in_stock=in_stock,
            buy_parts=buy,
            buy_money=buy * groups["unit_price"],
            filled_after=np.where(needs.mean > 0, 1 - missed / np.maximum(needs.mean, 1e-300), 1.0),
        )
    )


def _aim(needs: CountDistribution, price: np.ndarray, settings: StockSettings) -> np.ndarray:
    if settings.order_by != COSTS:
        return base_stock_for_share(needs, settings.target_filled_share)
    ratio = settings.shortage_cost / (settings.shortage_cost + price)
    reached = needs.cdf >= ratio[:, None] - 1e-12
    return np.argmax(reached, axis=1)
