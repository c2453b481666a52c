"""The parts stock plan: what to order today per shop and part, and all that is shown of it.

``StockRecords`` holds what the records say, ``orders_today`` is the part that a change of target,
cost or lead time asks to be made anew, and ``stock_plan`` adds the weeks, the distribution of
needs, shared stocks and last orders.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from functools import cached_property

import numpy as np
import pandas as pd

from models.stock.base_stock import ReviewCycle
from models.stock.counts import CountDistribution
from models.stock.demand import Demand
from models.stock.last_time_buy import last_buys
from models.stock.needs import SensorNeeds
from models.stock.order import Orders, decide_orders, lacking_parts, none_or_one
from models.stock.pooling import pools
from models.stock.schemas import PARTS_SUPPLY, STOCK_DEMAND, STOCK_ORDERS, STOCK_POOLS
from models.stock.settings import StockSettings
from models.stock.shelf import shelf_today
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
    shelf: pd.DataFrame
    supply: pd.DataFrame


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
    demand = records.demand
    supply = _supply(records, settings)
    shelf = shelf_today(supply, records.counts, records.day, settings)
    old = _old_shelf(records, settings, supply)
    days = _cycle_days(supply, shelf, settings)
    by_draw = demand.asked(days, _old_by(old, demand.groups, days))
    needs = by_draw.mixed(axis=1)
    on_hand, due = shelf["on_hand"].to_numpy(int), shelf["due"].to_numpy(int)
    early = on_hand + np.where(shelf["due_in_days"] <= days[:, 0], due, 0)
    late = on_hand + np.where(shelf["due_in_days"] <= days[:, 2], due, 0)
    cycle = ReviewCycle(needs, early, late)
    decided = decide_orders(supply, cycle, on_hand, settings, transfers_allowed)
    parts_by = _asked_by(records, supply, days)
    rows = _order_rows(supply, shelf, old, cycle, decided, parts_by, settings)
    return OrdersToday(rows, decided.moved, decided, cycle, by_draw, shelf, supply)


def _supply(records: StockRecords, settings: StockSettings) -> pd.DataFrame:
    """Each group with how its number is bought, defaults filled in and marked."""
    parts = PARTS_SUPPLY.check(records.parts)
    rows = records.demand.groups.merge(parts, on="part_no", how="left")
    ends, today = rows["supply_ends_on"], pd.Timestamp(records.day)
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
    records: StockRecords, settings: StockSettings, supply: pd.DataFrame
) -> pd.DataFrame:
    """Stock of numbers out of supply, by shop, with the group that uses it."""
    lead = supply["lead_time_days"].to_numpy(int)
    rows = records.demand.classes
    ordered = supply["part_no"].to_numpy(object)[rows["group"]]
    rows = rows[rows["part_no"].to_numpy(object) != ordered].reset_index(drop=True)
    rows = rows.assign(lead_time_days=lead[rows["group"]])
    shelf = shelf_today(rows, records.counts, records.day, settings)
    return pd.concat([rows, shelf], axis=1)


def _old_by(old: pd.DataFrame, groups: pd.DataFrame, days: np.ndarray) -> dict:
    """Old stock there by each day, keyed by shop and number."""
    return {
        (row.shop_id, row.part_no): row.on_hand
        + np.where(row.due_in_days <= days[row.group], row.due, 0)
        for row in old.itertuples()
    }


def _cycle_days(supply: pd.DataFrame, shelf: pd.DataFrame, settings: StockSettings) -> np.ndarray:
    """End of the lead time, day on which parts are due within the cycle, and its end."""
    lead = supply["lead_time_days"].to_numpy(float)
    due = np.clip(shelf["due_in_days"].to_numpy(float), lead, lead + settings.review_days)
    return np.stack([lead, due, lead + settings.review_days], axis=1)


def _asked_by(records: StockRecords, supply: pd.DataFrame, days: np.ndarray) -> pd.DataFrame:
    parts_by = records.demand.expected_by_source(days[:, 2])
    left = records.needs.left_out
    ordered = left["part_no"].map(records.numbers.ordered_as)
    counts = left.groupby([left["shop_id"], ordered]).size()
    index = pd.MultiIndex.from_frame(supply[["shop_id", "part_no"]])
    return parts_by.assign(n_left_out=counts.reindex(index, fill_value=0).to_numpy(int))


def _order_rows(
    supply: pd.DataFrame,
    shelf: pd.DataFrame,
    old: pd.DataFrame,
    cycle: ReviewCycle,
    decided: Orders,
    parts_by: pd.DataFrame,
    settings: StockSettings,
) -> pd.DataFrame:
    price = supply["unit_price"]
    moved = decided.transfer_in - decided.transfer_out
    before, after = np.zeros((len(supply), 1), dtype=int), (moved + decided.parts)[:, None]
    covered = cycle.needs.of((slice(None), 2))
    used = old.groupby("group")["on_hand"].sum().reindex(range(len(supply)), fill_value=0)
    names = old.groupby("group")["part_no"].agg(", ".join).reindex(range(len(supply)))
    zero = ReviewCycle(cycle.needs, np.zeros(len(supply), int), np.zeros(len(supply), int))
    aim = lacking_parts(zero, price.to_numpy(float), settings)
    tied = (shelf["on_hand"] + shelf["due"]) * price
    return STOCK_ORDERS.check(
        pd.concat([supply, shelf], axis=1).assign(
            used_for=names.to_numpy(object),
            n_sensors=parts_by["n_sensors"].to_numpy(int),
            n_left_out=parts_by["n_left_out"].to_numpy(int),
            old_on_hand=used.to_numpy(int),
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
    lead = today.supply["lead_time_days"].to_numpy(int)
    days = week_days(lead, settings.review_days, settings.weeks)
    old = _old_shelf(records, settings, today.supply)
    needs = records.demand.asked(days, _old_by(old, records.demand.groups, days)).mixed(axis=1)
    orders, decided = today.orders, today.decided
    supply = Supply(
        on_hand=orders["on_hand"].to_numpy(int),
        moved=decided.transfer_in - decided.transfer_out,
        due=orders["due"].to_numpy(int),
        due_in_days=today.shelf["due_in_days"].to_numpy(int),
        ordered=decided.parts,
        lead_time_days=lead,
        pack_size=orders["pack_size"].to_numpy(int),
        aim=orders["base_stock"].to_numpy(int),
        can_order=today.supply["can_order"].to_numpy(bool) & ~decided.none_is_right,
    )
    return by_week(today.supply, needs, supply, records.day)


def _shared(
    today: OrdersToday, settings: StockSettings, transfers_allowed: pd.DataFrame
) -> pd.DataFrame:
    """Level of one shared stock beside the shops' own levels, by part and pool."""
    rows = []
    for at in pools(today.supply, transfers_allowed):
        whole = today.by_draw.of(at[0])
        for g in at[1:]:
            whole = whole.plus(today.by_draw.of(g))
        one = whole.mixed(axis=0)
        cycle = ReviewCycle(
            CountDistribution(one.pmf[None], one.mean[None]), np.array([0]), np.array([0])
        )
        first = today.supply.iloc[at[:1]]
        price, covered = (first[n].to_numpy(float) for n in ("unit_price", "covered_days"))
        keep_none, keep_one = none_or_one(cycle, price, covered, settings)
        shops = ", ".join(today.supply["shop_id"].iloc[at])
        apart = int(today.orders["base_stock"].iloc[at].sum())
        aim = lacking_parts(cycle, price, settings)[0]
        as_one = 0 if keep_none[0] <= keep_one[0] else int(aim)
        rows.append((today.supply["part_no"].iloc[at[0]], shops, apart, as_one))
    return STOCK_POOLS.check(pd.DataFrame(rows, columns=STOCK_POOLS.names))


def _last_orders(
    records: StockRecords, settings: StockSettings, today: OrdersToday
) -> pd.DataFrame:
    supply = today.supply
    final = supply["supply_ends_on"].notna() & supply["replaced_by"].fillna("").eq("")
    days = np.full((len(supply), 1), float(settings.last_order_covers_days))
    at = np.flatnonzero(final)
    in_stock = (today.orders["on_hand"] + today.orders["due"]).to_numpy(int)[at]
    needs = CountDistribution(np.ones((0, 1)), np.zeros(0))
    if len(at):
        needs = records.demand.asked(days, {}).mixed(axis=1).of((at, 0))
    return last_buys(supply.iloc[at].reset_index(drop=True), needs, in_stock, records.day, settings)
