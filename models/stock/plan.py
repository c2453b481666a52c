"""The parts stock plan: what to order today per shop and part, and all that is shown of it.

``StockRecords`` holds what the records say, ``orders_today`` is the part that a change of target,
cost or lead time asks to be made anew, and ``stock_plan`` adds the weeks, the distribution of
needs, shared stocks and last orders.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from datetime import date
from functools import cached_property

import numpy as np
import pandas as pd

from models.stock.base_stock import ReviewCycle
from models.stock.counts import CountDistribution
from models.stock.demand import Demand
from models.stock.in_stock import InStock, in_stock
from models.stock.last_time_buy import last_buys
from models.stock.needs import SensorNeeds
from models.stock.order import Orders, decide_orders, lacking_parts, none_or_one
from models.stock.pooling import pools
from models.stock.schemas import STOCK_DEMAND, STOCK_ORDERS, STOCK_POOLS
from models.stock.settings import StockSettings
from models.stock.supersession import Numbers, follow_numbers, oldest_that_fits
from models.stock.weeks import Supply, by_week, week_days

#: Chance above which a number of parts is still shown.
_SHOWN = 1e-4


@dataclass(frozen=True)
class StockRecords:
    """What the records say; each frame as declared in ``models.stock.schemas``.

    Attributes
    ----------
    needs : SensorNeeds
        Chances of the sensors in service.
    places, parts, fitments, counts, walk_ins : frame
        SENSOR_PLACES, PARTS_SUPPLY, FITMENTS, STOCK_COUNTS, WALK_INS.
    repeat_rate : float
        From ``models.stock.repeats``.
    day : date
        The as-of day.
    """

    needs: SensorNeeds
    places: pd.DataFrame
    parts: pd.DataFrame
    fitments: pd.DataFrame
    counts: pd.DataFrame
    walk_ins: pd.DataFrame
    repeat_rate: float
    day: date

    _stood: dict[tuple, InStock] = field(
        default_factory=dict, init=False, compare=False, repr=False
    )

    @cached_property
    def numbers(self) -> Numbers:
        """How part numbers follow one another."""
        return follow_numbers(self.parts, self.day)

    @cached_property
    def meets(self) -> np.ndarray:
        """Oldest number that can meet each sensor's need."""
        return oldest_that_fits(self.needs.sensors, self.places, self.fitments, self.numbers)

    @cached_property
    def demand(self) -> Demand:
        """Who may ask for what."""
        return Demand(
            self.needs, self.meets, self.walk_ins, self.repeat_rate, self.numbers, self._groups
        )

    @cached_property
    def left_out_counts(self) -> np.ndarray:
        """Sensors left out, by the group that they would ask of, shape (groups,)."""
        left = self.needs.left_out
        counts = left.groupby(
            [left["shop_id"], left["part_no"].map(self.numbers.ordered_as)]
        ).size()
        index = pd.MultiIndex.from_frame(self._groups)
        return counts.reindex(index, fill_value=0).to_numpy(int)

    def under(self, needs: SensorNeeds) -> StockRecords:
        """The same records with other chances of the very same sensors.

        Who may ask for what and what is in stock are taken over, and of the needs only the chances
        that are other ones are worked out anew.

        Raises
        ------
        ValueError
            The sensors or those left out are others.
        """
        who = (needs.sensors, self.needs.sensors), (needs.left_out, self.needs.left_out)
        if not all(new is own or new.equals(own) for new, own in who):
            raise ValueError("other chances are taken for the same sensors in the same order alone")
        other = replace(self, needs=needs)
        same = {
            name: getattr(self, name) for name in ("numbers", "meets", "left_out_counts", "_stood")
        }
        vars(other).update(same, demand=self.demand.under(needs))  # as kept once worked out
        return other

    def in_stock(self, settings: StockSettings) -> InStock:
        """How the numbers are bought and what is there of them, kept for the settings last used."""
        rests_on = (
            settings.review_days,
            settings.lead_time_days_if_unknown,
            settings.price_if_unknown,
            settings.stock_count_stale_after_days,
        )
        found = self._stood.get(rests_on)
        if found is None:
            who = self.demand
            found = in_stock(who.groups, who.classes, self.parts, self.counts, self.day, settings)
            self._stood.clear()
            self._stood[rests_on] = found
        return found

    @cached_property
    def _groups(self) -> pd.DataFrame:
        """Shops and numbers ordered that have a sensor, a count or a first visit."""
        own = [self.needs.sensors, self.needs.left_out, self.counts]
        own.append(self.walk_ins[self.walk_ins["n_visits"] > 0])
        pairs = pd.concat([frame[["shop_id", "part_no"]] for frame in own])
        pairs["part_no"] = pairs["part_no"].map(self.numbers.ordered_as)
        return pairs.drop_duplicates().sort_values(["shop_id", "part_no"]).reset_index(drop=True)


@dataclass(frozen=True)
class OrdersToday:
    """``orders`` is STOCK_ORDERS, ``transfers`` STOCK_TRANSFERS; the rest is what they rest on."""

    orders: pd.DataFrame
    transfers: pd.DataFrame
    decided: Orders
    cycle: ReviewCycle
    by_draw: CountDistribution
    there: InStock


@dataclass(frozen=True)
class StockPlan:
    """All that is shown: each frame as declared in ``models.stock.schemas``."""

    orders: pd.DataFrame
    transfers: pd.DataFrame
    demand: pd.DataFrame
    weeks: pd.DataFrame
    pools: pd.DataFrame
    last_buys: pd.DataFrame


def stock_plan(
    records: StockRecords, settings: StockSettings, transfers_allowed: pd.DataFrame
) -> StockPlan:
    """The whole plan.

    Parameters
    ----------
    records : StockRecords
        What the records say.
    settings : StockSettings
        Targets, costs and what is taken where a record lacks it.
    transfers_allowed : frame
        TRANSFERS_ALLOWED.
    """
    today = orders_today(records, settings, transfers_allowed)
    return StockPlan(
        orders=today.orders,
        transfers=today.transfers,
        demand=_demand_rows(today),
        weeks=_weeks(records, settings, today),
        pools=_shared(today, settings, transfers_allowed),
        last_buys=_last_orders(records, settings, today),
    )


def orders_today(
    records: StockRecords, settings: StockSettings, transfers_allowed: pd.DataFrame
) -> OrdersToday:
    """What to order today; parameters as of ``stock_plan``."""
    settings.check()
    there = records.in_stock(settings)
    supply, days = there.supply, there.days
    by_draw = records.demand.asked(days, there.old_by(days))
    needs = by_draw.mixed(axis=1)
    cycle = ReviewCycle(needs, there.there_by(days[:, 0]), there.there_by(days[:, 2]))
    decided = decide_orders(supply, cycle, there.on_hand, settings, transfers_allowed)
    parts_by = records.demand.expected_by_source(days).assign(n_left_out=records.left_out_counts)
    rows = _order_rows(there, cycle, decided, parts_by, settings)
    return OrdersToday(rows, decided.moved, decided, cycle, by_draw, there)


def _order_rows(
    there: InStock,
    cycle: ReviewCycle,
    decided: Orders,
    parts_by: pd.DataFrame,
    settings: StockSettings,
) -> pd.DataFrame:
    supply, shelf = there.supply, there.shelf
    price = supply["unit_price"]
    moved = decided.transfer_in - decided.transfer_out
    before, after = np.zeros((len(supply), 1), dtype=int), (moved + decided.parts)[:, None]
    covered = cycle.needs.of((slice(None), 2))
    zero = ReviewCycle(cycle.needs, np.zeros(len(supply), int), np.zeros(len(supply), int))
    aim = lacking_parts(zero, price.to_numpy(float), settings)
    tied = (shelf["on_hand"] + shelf["due"]) * price
    return STOCK_ORDERS.check(
        pd.concat([supply, shelf], axis=1).assign(
            used_for=there.old_numbers["used_for"].to_numpy(object),
            n_sensors=parts_by["n_sensors"].to_numpy(int),
            n_left_out=parts_by["n_left_out"].to_numpy(int),
            old_on_hand=there.old_numbers["old_on_hand"].to_numpy(int),
            there=cycle.there_late,
            need=covered.mean,
            need_low=covered.quantile(0.05),
            need_high=covered.quantile(0.95),
            need_from_sensors=parts_by["sensors"].to_numpy(),
            need_from_repeats=parts_by["repeats"].to_numpy(),
            need_from_walk_ins=parts_by["walk_ins"].to_numpy(),
            short_before=_once(cycle.short(before, at=0)),
            short_now=_once(cycle.short(before)),
            short_after=_once(cycle.short(after)),
            filled_now=_once(cycle.filled(before)),
            filled_after=_once(cycle.filled(after)),
            transfer_in=decided.transfer_in,
            transfer_out=decided.transfer_out,
            order_parts=decided.parts,
            order_packs=decided.parts // supply["pack_size"],
            order_money=decided.parts * price,
            base_stock=np.where(decided.none_is_right, 0, aim),
            tied_up=tied,
            tied_up_after=tied + (moved + decided.parts) * price,
            none_is_right=decided.none_is_right,
            keep_one_cost=decided.keep_one_cost,
            keep_none_cost=decided.keep_none_cost,
        )
    )


def _once(column: np.ndarray) -> np.ndarray:
    """One value a group, a chance kept from 0 to 1."""
    return np.clip(column[:, 0], 0.0, 1.0)


def _demand_rows(today: OrdersToday) -> pd.DataFrame:
    covered = today.cycle.needs.of((slice(None), 2))
    last = np.maximum(covered.quantile(1 - _SHOWN), today.orders["base_stock"]) + 1
    rows = []
    for g, row in enumerate(today.orders.itertuples()):
        shown = covered.of(g).resized(int(last[g]) + 1)
        for parts, (chance, up_to) in enumerate(zip(shown.pmf, shown.cdf, strict=True)):
            rows.append((row.shop_id, row.part_no, parts, chance, up_to))
    return STOCK_DEMAND.check(pd.DataFrame(rows, columns=STOCK_DEMAND.names))


def _weeks(records: StockRecords, settings: StockSettings, today: OrdersToday) -> pd.DataFrame:
    there = today.there
    lead = there.supply["lead_time_days"].to_numpy(int)
    days = week_days(lead, settings.review_days, settings.weeks)
    needs = records.demand.asked_by_any(days, there.old_by(days))
    orders, decided = today.orders, today.decided
    supply = Supply(
        on_hand=orders["on_hand"].to_numpy(int),
        moved=decided.transfer_in - decided.transfer_out,
        due=orders["due"].to_numpy(int),
        due_in_days=there.shelf["due_in_days"].to_numpy(int),
        ordered=decided.parts,
        lead_time_days=lead,
        pack_size=orders["pack_size"].to_numpy(int),
        aim=orders["base_stock"].to_numpy(int),
        can_order=there.supply["can_order"].to_numpy(bool) & ~decided.none_is_right,
    )
    return by_week(there.supply, needs, supply, records.day)


def _shared(
    today: OrdersToday, settings: StockSettings, transfers_allowed: pd.DataFrame
) -> pd.DataFrame:
    """Level of one shared stock beside the shops' own levels, by part and pool."""
    rows = []
    for at in pools(today.there.supply, transfers_allowed):
        whole = today.by_draw.of(at[0])
        for g in at[1:]:
            whole = whole.plus(today.by_draw.of(g))
        one = whole.mixed(axis=0)
        cycle = ReviewCycle(
            CountDistribution(one.pmf[None], one.mean[None]), np.array([0]), np.array([0])
        )
        first = today.there.supply.iloc[at[:1]]
        price, covered = (first[n].to_numpy(float) for n in ("unit_price", "covered_days"))
        keep_none, keep_one = none_or_one(cycle, price, covered, settings)
        shops = ", ".join(today.there.supply["shop_id"].iloc[at])
        apart = int(today.orders["base_stock"].iloc[at].sum())
        aim = lacking_parts(cycle, price, settings)[0]
        as_one = 0 if keep_none[0] <= keep_one[0] else int(aim)
        rows.append((today.there.supply["part_no"].iloc[at[0]], shops, apart, as_one))
    return STOCK_POOLS.check(pd.DataFrame(rows, columns=STOCK_POOLS.names))


def _last_orders(
    records: StockRecords, settings: StockSettings, today: OrdersToday
) -> pd.DataFrame:
    supply = today.there.supply
    final = supply["supply_ends_on"].notna() & supply["replaced_by"].fillna("").eq("")
    days = np.full((len(supply), 1), float(settings.last_order_covers_days))
    at = np.flatnonzero(final)
    in_stock = (today.orders["on_hand"] + today.orders["due"]).to_numpy(int)[at]
    needs = CountDistribution(np.ones((0, 1)), np.zeros(0))
    if len(at):
        needs = records.demand.asked(days, {}).mixed(axis=1).of((at, 0))
    return last_buys(supply.iloc[at].reset_index(drop=True), needs, in_stock, records.day, settings)
