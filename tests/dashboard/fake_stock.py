"""Views of the parts stock made up from the declared schemas."""

from __future__ import annotations

import dataclasses

import numpy as np
import pandas as pd
from scipy.stats import poisson

from models.stock import schemas
from pipeline.access.frames import stock_schemas as access
from pipeline.access.stock_book import STOCK_BOOK, StockBook
from pipeline.access.stock_view import OnePart, StockView
from tests.dashboard.fake_views import HOSTILE, edition, rows

DAY = pd.Timestamp("2026-03-15")
SETTINGS = {
    "review_days": 7,
    "target_filled_share": 0.95,
    "order_by": "filled_share",
    "holding_cost_share_per_year": 0.25,
    "shortage_cost": 60.0,
}


def stock_rows() -> pd.DataFrame:
    """To order in packs, enough, a slow mover, and never counted with nothing on record."""
    return rows(
        access.STOCK_ROWS,
        4,
        shop_id=["north", "north", "south", "south"],
        shop_name=["North Yard", "North Yard", "South Yard", "South Yard"],
        part_no=["P-1", "P-2", "P-1", "P-2"],
        description=HOSTILE,
        used_for=["P-0", None, None, None],
        n_sensors=[24, 11, 2, 9],
        n_left_out=[1, 0, 0, 0],
        count_state=["counted", "stale", "counted", "never"],
        counted=[3, 5, 0, None],
        used_since=[1, 0, 0, 0],
        on_hand=[2, 5, 0, 0],
        old_on_hand=[1, 0, 0, 0],
        due=[2, 1, 0, 0],
        due_on=["2026-03-20", "2026-03-01", None, None],
        due_state=["due", "overdue", "none", "none"],
        there=[4, 6, 0, 0],
        lead_time_days=[14, 14, 14, 21],
        lead_time_assumed=[False, False, False, True],
        unit_price=[100.0, 50.0, 100.0, 120.0],
        price_assumed=[False, False, False, True],
        pack_size=[2, 1, 1, 1],
        covered_days=[21, 21, 21, 28],
        need=[4.2, 1.1, 0.02, 1.4],
        need_low=[1, 0, 0, 0],
        need_high=[8, 3, 0, 4],
        need_from_sensors=[4.0, 1.0, 0.02, 1.2],
        need_from_repeats=[0.05, 0.01, 0.0, 0.1],
        need_from_walk_ins=[0.15, 0.09, 0.0, 0.1],
        short_before=[0.1, 0.001, 0.01, 0.6],
        short_now=[0.42, 0.001, 0.02, 0.75],
        short_after=[0.03, 0.001, 0.02, 0.04],
        filled_now=[0.71, 0.999, 0.0, 0.1],
        filled_after=[0.96, 0.999, 0.0, 0.97],
        transfer_in=0,
        transfer_out=0,
        order_parts=[4, 0, 0, 3],
        order_packs=[2, 0, 0, 3],
        order_money=[400.0, 0.0, 0.0, 360.0],
        base_stock=[8, 4, 0, 3],
        tied_up=[400.0, 300.0, 0.0, 0.0],
        tied_up_after=[800.0, 300.0, 0.0, 360.0],
        none_is_right=[False, False, True, False],
        keep_one_cost=[25.0, 12.5, 25.0, 30.0],
        keep_none_cost=[4000.0, 1000.0, 20.0, 1000.0],
        supply=["open", "open", "open", "open"],
        supply_ends_on=None,
    )


def demand(mean: float = 4.2, count: int = 14) -> pd.DataFrame:
    k = np.arange(count)
    return rows(
        schemas.STOCK_DEMAND,
        count,
        shop_id="north",
        part_no="P-1",
        parts=k,
        chance=poisson.pmf(k, mean),
        up_to=poisson.cdf(k, mean),
    )


def weeks(count: int = 12) -> pd.DataFrame:
    week = np.arange(1, count + 1)
    return rows(
        schemas.STOCK_WEEKS,
        count,
        shop_id="north",
        part_no="P-1",
        week=week,
        ends_on=DAY + pd.to_timedelta(7 * week, unit="D"),
        need=1.4,
        need_by_then=1.4 * week,
        need_low=week - 1,
        need_high=week + 4,
        arrives=np.where(week == 2, 4, 0),
        on_shelf=3.0,
        short_now=np.minimum(0.2 * week, 1.0),
        short_after=np.where(week == 6, 0.09, 0.03),
        order_expected=np.where(week % 2, 2, 0),
    )


def walk_ins() -> pd.DataFrame:
    return rows(
        schemas.WALK_INS,
        1,
        part_no="P-1",
        days=1096.0,
        n_visits=14,
        n_asked=3,
        per_year=1.1,
        per_year_low=0.4,
        per_year_high=2.3,
        own_share=0.8,
    )


def asking(count: int = 12) -> pd.DataFrame:
    number = np.arange(count)
    return rows(
        access.STOCK_ASKING,
        count,
        sensor_id=[f"S-{n:03d}" for n in number],
        unit_id=[f"U-{n:03d}" for n in number],
        label=HOSTILE,
        part_no="P-1",
        days=21,
        need=np.linspace(1.0, 0.001, count),
    )


def one_part(row: dict | None = None, **values) -> OnePart:
    parts = {
        "row": row or stock_rows().to_dict("records")[0],
        "demand": demand(),
        "weeks": weeks(),
        "walk_ins": walk_ins(),
        "asking": asking(),
    }
    return OnePart(**(parts | values))


def about(**values) -> dict:
    known = {
        "n_sensors": 46,
        "n_draws": 20,
        "repeats_per_year": 0.02,
        "settings": SETTINGS | values.pop("settings", {}),
        "transfers_allowed": 0,
        "currency": "crowns",
    }
    return known | values


def stock_view(**values) -> StockView:
    parts = {
        "edition": edition(),
        "about": about(),
        "rows": stock_rows(),
        "transfers": schemas.STOCK_TRANSFERS.empty(),
        "pools": schemas.STOCK_POOLS.empty(),
        "last_buys": schemas.LAST_TIME_BUYS.empty(),
        "left_out": rows(access.STOCK_LEFT_OUT, 1, label=HOSTILE, part_no="P-1"),
        "one": one_part(),
    }
    return StockView(**(parts | values))


def between_shops(view: StockView) -> StockView:
    """The same with a transfer and a shared stock."""
    moved = rows(
        schemas.STOCK_TRANSFERS, 1, part_no="P-1", from_shop="south", to_shop="north", parts=2
    )
    pooled = rows(schemas.STOCK_POOLS, 1, part_no="P-1", shops="north, south", apart=8, as_one=6)
    changed = view.rows.assign(
        transfer_in=[2, 0, 0, 0], transfer_out=[0, 0, 2, 0], order_parts=[2, 0, 0, 3]
    )
    return dataclasses.replace(view, transfers=moved, pools=pooled, rows=changed)


def last_buys(**values) -> pd.DataFrame:
    known = {
        "shop_id": "south",
        "part_no": "P-2",
        "supply_ends_on": "2026-09-30",
        "state": "open",
        "covers_days": 730.0,
        "need": 6.3,
        "need_low": 2,
        "need_high": 12,
        "in_stock": 1,
        "buy_parts": 9,
        "buy_money": 1080.0,
        "filled_after": 0.96,
    }
    return rows(schemas.LAST_TIME_BUYS, 1, **(known | values))


def stock_book(**values) -> StockBook:
    """Two shops with two parts each: counted, and never."""
    frame = rows(
        STOCK_BOOK,
        4,
        shop_id=["north", "north", "south", "south"],
        shop_name=["North Yard", "North Yard", "South Yard", "South Yard"],
        part_no=["P-1", "P-2", "P-1", "P-2"],
        description=HOSTILE,
        planned=True,
        **{
            "counted_on": ["2026-03-01", None, "2026-03-10", None],
            "counted": [3, None, 0, None],
            "on_order": [2, None, 0, None],
            "order_due_on": ["2026-03-20", None, None, None],
            "used_since": [1, 0, 0, 0],
            "on_hand_now": [2, None, 0, None],
            "due_now": [2, None, 0, None],
            "pending": False,
        }
        | values,
    )
    return StockBook(edition(), frame)
