"""What the stock plan is made for, with its assumed defaults.

Every default is assumed, without a source; a shop sets its own.
"""

from __future__ import annotations

from dataclasses import dataclass

FILLED_SHARE, COSTS = "filled_share", "costs"
DAYS_A_YEAR = 365.25


@dataclass(frozen=True)
class StockSettings:
    """Targets, costs and what is taken where a record lacks it.

    Attributes
    ----------
    review_days : int
        Days from one look at the stock to the next.
    target_filled_share : float
        Share of the parts asked for that are to be handed over at once, above 0 and below 1.
    order_by : str
        ``filled_share``, or ``costs``: the cheapest level.
    holding_cost_share_per_year : float
        Cost of keeping a part for a year as a share of its price.
    shortage_cost : float
        Cost of a part asked for and not there (the rider waits), in the shop's currency.
    order_cost : float
        Cost of an order line whatever its size; above 0 small orders are put together.
    price_if_unknown : float
        Price of a part without one, in the shop's currency.
    lead_time_days_if_unknown : int
        Days from order to shelf where a part has none on record.
    stock_count_stale_after_days : int
        A count older than this is called stale.
    last_order_covers_days : int
        Days that the last order of a part going out of supply must last.
    weeks : int
        Weeks shown ahead.
    """

    review_days: int = 7
    target_filled_share: float = 0.95
    order_by: str = FILLED_SHARE
    holding_cost_share_per_year: float = 0.25
    shortage_cost: float = 60.0
    order_cost: float = 0.0
    price_if_unknown: float = 120.0
    lead_time_days_if_unknown: int = 21
    stock_count_stale_after_days: int = 60
    last_order_covers_days: int = 730
    weeks: int = 12

    def check(self) -> StockSettings:
        """Refuse what makes no sense.

        Raises
        ------
        ValueError
            Names the setting, its value and what was expected.
        """
        for name in (
            "review_days",
            "stock_count_stale_after_days",
            "last_order_covers_days",
            "weeks",
            "shortage_cost",
            "price_if_unknown",
        ):
            if not getattr(self, name) > 0:
                raise ValueError(f"{name}: {getattr(self, name)}, expected a number above 0")
        for name in ("holding_cost_share_per_year", "order_cost", "lead_time_days_if_unknown"):
            if not getattr(self, name) >= 0:
                raise ValueError(f"{name}: {getattr(self, name)}, expected 0 or more")
        if not 0 < self.target_filled_share < 1:
            raise ValueError(
                f"target_filled_share: {self.target_filled_share}, expected above 0 and below 1"
            )
        if self.order_by not in (FILLED_SHARE, COSTS):
            raise ValueError(f"order_by: {self.order_by!r}, expected {FILLED_SHARE} or {COSTS}")
        return self
