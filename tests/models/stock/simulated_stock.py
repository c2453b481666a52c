"""Shops, parts and chances made up for the stock plan's tests."""

from __future__ import annotations

from datetime import date

import numpy as np
import pandas as pd

from models.stock import schemas
from models.stock.needs import sensor_needs
from models.stock.plan import StockRecords
from models.stock.walk_in import walk_in_rates

DAY = date(2026, 10, 31)


def part_need(shop_ids, part_nos, per_year, *, draws=0, spread=0.0, seed=0) -> pd.DataFrame:
    """Chances of sensors that each ask at a steady rate; `draws` fits around the estimate."""
    n = len(shop_ids)
    rng = np.random.default_rng(seed)
    factor = np.exp(spread * rng.standard_normal(draws) - spread**2 / 2)
    factors = np.concatenate([[1.0], factor])
    days = np.array(schemas.NEED_DAYS)
    rate = np.broadcast_to(np.asarray(per_year, float), (n,))
    need = 1 - np.exp(-rate[:, None, None] * factors[:, None] * days / 365.25)
    each = len(factors) * len(days)
    return schemas.PART_NEED.check(
        pd.DataFrame(
            {
                "sensor_id": np.repeat([f"S{i}" for i in range(n)], each),
                "unit_id": np.repeat([f"U{i}" for i in range(n)], each),
                "shop_id": np.repeat(np.asarray(shop_ids, object), each),
                "part_no": np.repeat(np.asarray(part_nos, object), each),
                "draw": np.tile(np.repeat(np.arange(len(factors)), len(days)), n),
                "days": np.tile(days, n * len(factors)),
                "need": need.reshape(-1),
            }
        )
    )


def frame(schema, rows) -> pd.DataFrame:
    """Rows given as dicts; columns left out are blank."""
    blank = dict.fromkeys(schema.names)
    return schema.check(pd.DataFrame([blank | row for row in rows], columns=schema.names))


def part(part_no="P", **values) -> dict:
    return {"part_no": part_no, "unit_price": 100.0, "pack_size": 1, "lead_time_days": 14} | values


def count(shop_id="north", part_no="P", on_hand=0, **values) -> dict:
    known = {"counted_on": DAY, "on_order": 0, "used_since": 0}
    return {"shop_id": shop_id, "part_no": part_no, "on_hand": on_hand} | known | values


def visits(shop_id="north", part_no="P", days=730.0, n_visits=20, n_asked=0) -> dict:
    return {
        "shop_id": shop_id,
        "part_no": part_no,
        "days": days,
        "n_visits": n_visits,
        "n_asked": n_asked,
    }


def no_walk_ins() -> pd.DataFrame:
    return schemas.WALK_INS.empty()


def no_transfers() -> pd.DataFrame:
    return schemas.TRANSFERS_ALLOWED.empty()


def both_ways(one="north", other="south") -> pd.DataFrame:
    pairs = [{"from_shop": one, "to_shop": other}, {"from_shop": other, "to_shop": one}]
    return frame(schemas.TRANSFERS_ALLOWED, pairs)


def records(need: pd.DataFrame, **values) -> StockRecords:
    """Records of one part P without counts, walk-ins or repeats, save what is given.

    `parts`, `counts`, `first_visits`, `fitments` and `places` are lists of dicts.
    """
    visited = frame(schemas.FIRST_VISITS, values.pop("first_visits", []))
    return StockRecords(
        needs=sensor_needs(need),
        places=frame(schemas.SENSOR_PLACES, values.pop("places", [])),
        parts=frame(schemas.PARTS_SUPPLY, values.pop("parts", [part()])),
        fitments=frame(schemas.FITMENTS, values.pop("fitments", [])),
        counts=frame(schemas.STOCK_COUNTS, values.pop("counts", [])),
        walk_ins=walk_in_rates(visited),
        repeat_rate=values.pop("repeat_rate", 0.0),
        day=values.pop("day", DAY),
        **values,
    )
