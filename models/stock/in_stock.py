"""How each number is bought, what the shops have of it, and the days that an order must cover.

Nothing here rests on who asks how likely, so that it stands while only chances change.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from functools import cached_property

import numpy as np
import pandas as pd

from models.stock.schemas import PARTS_SUPPLY
from models.stock.settings import StockSettings
from models.stock.shelf import shelf_today


@dataclass(frozen=True)
class InStock:
    """What is there for each group, to be read alone.

    Attributes
    ----------
    supply : frame of shape (groups, ...)
        ``shop_id``, ``part_no`` and how it is bought, defaults filled in and marked.
    shelf : frame of shape (groups, ...)
        From ``models.stock.shelf``.
    old : frame
        Stock of numbers out of supply, by shop, with the group that uses it.
    days : array of shape (groups, 3)
        End of the lead time, day on which parts are due within the cycle, and its end.
    """

    supply: pd.DataFrame
    shelf: pd.DataFrame
    old: pd.DataFrame
    days: np.ndarray

    @property
    def on_hand(self) -> np.ndarray:
        """Parts on the shelf today, shape (groups,)."""
        return self.shelf["on_hand"].to_numpy(int)

    def there_by(self, day: np.ndarray) -> np.ndarray:
        """Parts on hand or arriving up to each group's day, both of shape (groups,)."""
        due = np.where(self.shelf["due_in_days"] <= day, self.shelf["due"].to_numpy(int), 0)
        return self.on_hand + due

    def old_by(self, days: np.ndarray) -> dict[tuple[str, str], np.ndarray]:
        """Old stock there by each of the group's days, keyed by shop and number."""
        return {
            (row.shop_id, row.part_no): row.on_hand
            + np.where(row.due_in_days <= days[row.group], row.due, 0)
            for row in self.old.itertuples()
        }

    @cached_property
    def old_numbers(self) -> pd.DataFrame:
        """Old numbers used for each group's, as words, and the parts of them on hand."""
        by_group = self.old.groupby("group")
        groups = range(len(self.supply))
        return pd.DataFrame(
            {
                "used_for": by_group["part_no"].agg(", ".join).reindex(groups),
                "old_on_hand": by_group["on_hand"].sum().reindex(groups, fill_value=0).astype(int),
            }
        )


def in_stock(
    groups: pd.DataFrame,
    classes: pd.DataFrame,
    parts: pd.DataFrame,
    counts: pd.DataFrame,
    day: date,
    settings: StockSettings,
) -> InStock:
    """What is there on a day.

    Parameters
    ----------
    groups, classes : frame
        As of ``models.stock.demand.Demand``.
    parts, counts : frame
        PARTS_SUPPLY, STOCK_COUNTS.
    day : date
        The as-of day.
    settings : StockSettings
        What is taken where a record lacks it, and the review period.
    """
    supply = _supply(groups, parts, day, settings)
    shelf = shelf_today(supply, counts, day, settings)
    old = _old_shelf(supply, classes, counts, day, settings)
    return InStock(supply, shelf, old, _cycle_days(supply, shelf, settings))


def _supply(
    groups: pd.DataFrame, parts: pd.DataFrame, day: date, settings: StockSettings
) -> pd.DataFrame:
    """Each group with how its number is bought, defaults filled in and marked."""
    rows = groups.merge(PARTS_SUPPLY.check(parts), on="part_no", how="left")
    ends, today = rows["supply_ends_on"], pd.Timestamp(day)
    lead = rows["lead_time_days"].fillna(settings.lead_time_days_if_unknown).astype(int)
    covered = lead + settings.review_days
    over = (ends < today).fillna(False)
    ending = (ends < today + pd.to_timedelta(covered, unit="D")).fillna(False)
    return rows.assign(
        lead_time_assumed=rows["lead_time_days"].isna(),
        lead_time_days=lead,
        price_assumed=rows["unit_price"].isna(),
        unit_price=rows["unit_price"].fillna(settings.price_if_unknown),
        pack_size=rows["pack_size"].fillna(1).astype(int).clip(lower=1),
        covered_days=covered,
        can_order=~over,
        supply=np.select([over, ending], ["ended", "ending"], "open"),
    )


def _old_shelf(
    supply: pd.DataFrame,
    classes: pd.DataFrame,
    counts: pd.DataFrame,
    day: date,
    settings: StockSettings,
) -> pd.DataFrame:
    """Stock of numbers out of supply, by shop, with the group that uses it."""
    lead = supply["lead_time_days"].to_numpy(int)
    ordered = supply["part_no"].to_numpy(object)[classes["group"]]
    rows = classes[classes["part_no"].to_numpy(object) != ordered].reset_index(drop=True)
    rows = rows.assign(lead_time_days=lead[rows["group"]])
    return pd.concat([rows, shelf_today(rows, counts, day, settings)], axis=1)


def _cycle_days(supply: pd.DataFrame, shelf: pd.DataFrame, settings: StockSettings) -> np.ndarray:
    lead = supply["lead_time_days"].to_numpy(float)
    due = np.clip(shelf["due_in_days"].to_numpy(float), lead, lead + settings.review_days)
    return np.stack([lead, due, lead + settings.review_days], axis=1)
