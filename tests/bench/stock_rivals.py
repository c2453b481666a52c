"""Ways of ordering on the same needs: ours, rules of thumb, and forecasts of Croston's kind.

Each is asked at every weekly review for the parts to order in each cell, from its inventory
position (on hand and due less what riders wait for) and what it may know.
"""

from __future__ import annotations

import importlib
from dataclasses import dataclass, field
from functools import cache

import numpy as np
from scipy.stats import nbinom, poisson

from models.stock.base_stock import ReviewCycle
from models.stock.order import decide_orders
from models.stock.schemas import TRANSFERS_ALLOWED
from models.stock.settings import StockSettings
from tests.bench.stock_world import HISTORY_WEEKS, REVIEW_DAYS, World

_NO_TRANSFERS = TRANSFERS_ALLOWED.empty()


@dataclass
class Ours:
    """Needs of each sensor, mixed over fits, and the cycle that today's order covers.

    ``promised`` keeps by week what it expects to fill of that cycle and what to be asked for.
    """

    settings: StockSettings
    promised: dict[int, tuple[np.ndarray, np.ndarray]] = field(default_factory=dict)

    def order(self, world: World, week: int, position: np.ndarray) -> np.ndarray:
        """Parts to order."""
        cycle = ReviewCycle(world.covered(week), position, position)
        groups = world.cells.assign(
            pack_size=1, covered_days=world.cells["lead_time_days"] + REVIEW_DAYS, can_order=True
        )
        none = np.zeros(len(position), dtype=int)
        parts = decide_orders(groups, cycle, none, self.settings, _NO_TRANSFERS).parts
        mean = cycle.cycle_mean
        self.promised[week] = (cycle.filled(parts[:, None])[:, 0] * mean, mean)
        return parts


@dataclass
class ReorderAt:
    """Order ``lot`` parts once the position is at ``k`` or below: the same for every part."""

    k: int
    lot: int

    def order(self, world: World, week: int, position: np.ndarray) -> np.ndarray:
        """Parts to order."""
        short = np.maximum(self.k + 1 - position, 0)
        return np.where(short > 0, np.maximum(-(-short // self.lot), 1) * self.lot, 0)


@dataclass
class WeeksOfUse:
    """Reorder at so many times last year's use over the lead time, up to some weeks' use more."""

    times: float
    weeks: float

    def order(self, world: World, week: int, position: np.ndarray) -> np.ndarray:
        """Parts to order."""
        use = world.asked[:, 7 * (week - 52) : 7 * week].sum(axis=1) / 364.0
        covered = world.cells["lead_time_days"].to_numpy() + REVIEW_DAYS
        at = np.ceil(self.times * use * covered)
        up_to = np.maximum(at + 1, np.ceil(at + self.weeks * 7 * use))
        return np.where(position <= at, np.maximum(up_to - position, 0), 0).astype(int)


@dataclass
class Croston:
    """A forecast of Croston's kind of the weekly use, and the level that costs least under it.

    The number asked for over the lead time and review is Poisson, or negative binomial with
    ``spread`` times its variance; ``share`` is the chance of meeting it that is aimed at. Orders
    are put together as ours are.
    """

    method: str
    share: float
    spread: float
    settings: StockSettings = field(repr=False)

    def order(self, world: World, week: int, position: np.ndarray) -> np.ndarray:
        """Parts to order."""
        begin = week - HISTORY_WEEKS
        history = world.asked[:, 7 * begin : 7 * week].reshape(len(position), -1, 7).sum(axis=2)
        weekly = np.array([forecast(self.method, tuple(row)) for row in history.tolist()])
        mean = weekly * (world.cells["lead_time_days"].to_numpy() + REVIEW_DAYS) / 7
        level = _level(np.maximum(mean, 1e-6), self.share, self.spread)
        wanted = np.maximum(level - position, 0)
        keep = self.settings.holding_cost_share_per_year * world.cells["unit_price"].to_numpy()
        lot = np.sqrt(2 * self.settings.order_cost * weekly * 52.18 / keep)
        return np.where(wanted > 0, np.maximum(wanted, np.rint(lot)), 0).astype(int)


def _level(mean: np.ndarray, share: float, spread: float) -> np.ndarray:
    if spread <= 1:
        return poisson.ppf(share, mean)
    return nbinom.ppf(share, mean / (spread - 1), 1 / spread)


@cache
def forecaster(method: str):
    """Class of statsforecast, or None where it is not installed."""
    try:
        return getattr(importlib.import_module("statsforecast.models"), method)
    except ImportError:
        return None


@cache
def forecast(method: str, history: tuple[int, ...]) -> float:
    """Parts a week by one method; ``textbook`` is our own Croston with the SBA correction."""
    values = np.array(history, dtype=float)
    if not values.any():
        return 0.0
    if method == "textbook":
        return _textbook(values)
    model = forecaster(method)
    fitted = model(alpha_d=0.1, alpha_p=0.1) if method == "TSB" else model()
    return float(fitted.forecast(y=values, h=1)["mean"][0])


def _textbook(values: np.ndarray, alpha: float = 0.1) -> float:
    """Croston (Oper. Res. Q. 23 (1972) 289) with the factor 1 - alpha/2 of Syntetos & Boylan.

    Int. J. Forecasting 21 (2005) 303; both from memory.
    """
    at = np.flatnonzero(values)
    size, interval, last = values[at[0]], float(at[0] + 1), at[0]
    for t in at[1:]:
        size += alpha * (values[t] - size)
        interval += alpha * (t - last - interval)
        last = t
    return (1 - alpha / 2) * size / interval
