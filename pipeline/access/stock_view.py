"""The page of the parts stock: what to order today, and one shop's part in detail."""

from __future__ import annotations

import json
from dataclasses import dataclass

import duckdb
import pandas as pd

from models.stock.schemas import (
    LAST_TIME_BUYS,
    STOCK_DEMAND,
    STOCK_POOLS,
    STOCK_TRANSFERS,
    STOCK_WEEKS,
    WALK_INS,
)
from pipeline.access.frames.stock_schemas import STOCK_ASKING, STOCK_LEFT_OUT, STOCK_ROWS
from pipeline.access.reading import Edition, NotThereError, edition_of, read_frame, reading
from pipeline.access.scope.allowed import view
from pipeline.asker import Asker
from pipeline.home import Home
from pipeline.statements import one_row, run


@dataclass(frozen=True)
class OnePart:
    """One shop's part. ``row`` is one row of STOCK_ROWS as a dict.

    ``demand`` STOCK_DEMAND, ``weeks`` STOCK_WEEKS, ``walk_ins`` WALK_INS (also of numbers ordered
    as this one), ``asking`` STOCK_ASKING.
    """

    row: dict
    demand: pd.DataFrame
    weeks: pd.DataFrame
    walk_ins: pd.DataFrame
    asking: pd.DataFrame


@dataclass(frozen=True)
class StockView:
    """What to order today. ``about`` is what the plan was made for.

    ``rows`` STOCK_ROWS, ``transfers`` STOCK_TRANSFERS, ``pools`` STOCK_POOLS, ``last_buys``
    LAST_TIME_BUYS, ``left_out`` STOCK_LEFT_OUT; ``one`` the shop's part asked for, else the first
    row's; None without any.
    """

    edition: Edition
    about: dict
    rows: pd.DataFrame
    transfers: pd.DataFrame
    pools: pd.DataFrame
    last_buys: pd.DataFrame
    left_out: pd.DataFrame
    one: OnePart | None


@view
def stock_view(
    home: Home, asker: Asker, shop_id: str | None = None, part_no: str | None = None
) -> StockView:
    """Everything the page of the parts stock shows.

    Parameters
    ----------
    home : Home
        Where the records are.
    asker : Asker
        Who asks.
    shop_id, part_no : str, optional
        The shop and the number ordered that are shown in detail.

    Raises
    ------
    NotThereError
        Nothing is published in this home, or the plan holds no such part of such a shop.
    """
    with reading(home, asker) as (manifest, connection):
        (about,) = one_row(run(connection, "access/sql/stock_about"))
        rows = read_frame(connection, "stock_rows", STOCK_ROWS)
        return StockView(
            edition=edition_of(home, manifest),
            about=json.loads(about),
            rows=rows,
            transfers=read_frame(connection, "stock_transfers", STOCK_TRANSFERS),
            pools=read_frame(connection, "stock_pools", STOCK_POOLS),
            last_buys=read_frame(connection, "stock_last_buys", LAST_TIME_BUYS),
            left_out=read_frame(connection, "stock_left_out", STOCK_LEFT_OUT),
            one=_one(connection, rows, shop_id, part_no),
        )


def _one(
    connection: duckdb.DuckDBPyConnection,
    rows: pd.DataFrame,
    shop_id: str | None,
    part_no: str | None,
) -> OnePart | None:
    if shop_id is not None and part_no is not None:
        rows = rows[rows["shop_id"].eq(shop_id) & rows["part_no"].eq(part_no)]
        if rows.empty:
            raise NotThereError(f"The stock plan holds no part {part_no} of shop {shop_id}.")
    if rows.empty:
        return None
    row = rows.iloc[:1].to_dict("records")[0]
    key = {"shop_id": row["shop_id"], "part_no": row["part_no"]}
    used_for = {"used_for": row["used_for"] if pd.notna(row["used_for"]) else ""}
    covered = {"covered_days": int(row["covered_days"])}
    return OnePart(
        row,
        read_frame(connection, "stock_demand", STOCK_DEMAND, key),
        read_frame(connection, "stock_weeks", STOCK_WEEKS, key),
        read_frame(connection, "stock_walk_ins", WALK_INS, key | used_for),
        read_frame(connection, "stock_asking", STOCK_ASKING, key | used_for | covered),
    )
