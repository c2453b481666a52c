"""What each shop has of each part: as last counted, what was typed since the build on top."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

import duckdb
import pandas as pd

from models.frames import Column, FrameSchema
from models.stock.schemas import STOCK_COUNTS
from pipeline.access.entered.pending import pending_rows
from pipeline.access.reading import Edition, edition_of, read_frame, reading
from pipeline.access.scope.allowed import view
from pipeline.asker import Asker
from pipeline.home import Home
from pipeline.statements import run
from pipeline.warehouse.lives import MARTS

_PLACES = FrameSchema(
    "stock_places_known",
    "one shop and one part number on record",
    (
        Column("shop_id", "text", "the shop"),
        Column("shop_name", "text", "its name"),
        Column("part_no", "text", "the part number"),
        Column("description", "text", "what it is", blank=True),
        Column("planned", "flag", "the stock plan holds it"),
    ),
)
STOCK_BOOK = FrameSchema(
    "stock_book",
    "one shop and one part number on record: the latest count, and what is left of it",
    (
        *_PLACES.columns,
        Column("counted_on", "date", "day of the latest count; blank if never", blank=True),
        Column("counted", "whole", "on the shelf then", "parts", True),
        Column("on_order", "whole", "ordered and not there then", "parts", True),
        Column("order_due_on", "date", "when these are due", blank=True),
        Column("used_since", "whole", "fitted at the shop's bikes after the count", "parts"),
        Column("on_hand_now", "whole", "on the shelf now, as far as known", "parts", True),
        Column("due_now", "whole", "still to come, as far as known", "parts", True),
        Column("pending", "flag", "typed since the build, not in the plan yet"),
    ),
)


@dataclass(frozen=True)
class StockBook:
    """``rows`` STOCK_BOOK."""

    edition: Edition
    rows: pd.DataFrame


@view
def stock_book(home: Home, asker: Asker) -> StockBook:
    """All shops and parts with their latest counts, those typed since the build included.

    Raises
    ------
    NotThereError
        Nothing is published in this home.
    """
    with reading(home, asker) as (manifest, connection):
        edition = edition_of(home, manifest)
        places = read_frame(connection, "stock_places_known", _PLACES)
        counts = _counts(connection, edition.as_of)
    key = ["shop_id", "part_no"]
    rows = places.merge(_typed_over(home, asker, counts), on=key, how="left")
    rows = rows.assign(
        used_since=rows["used_since"].fillna(0), pending=rows["pending"].fillna(False)
    )
    return StockBook(edition, STOCK_BOOK.check(_what_is_left(rows)))


def _counts(connection: duckdb.DuckDBPyConnection, day: date) -> pd.DataFrame:
    counts = run(connection, f"{MARTS}/stock_counts", {"as_of": day}).df()
    counts = STOCK_COUNTS.check(counts).rename(columns={"on_hand": "counted"})
    return counts.assign(pending=False)


def _typed_over(home: Home, asker: Asker, counts: pd.DataFrame) -> pd.DataFrame:
    """The counts with typed ones in their place, where these are of the same day or later."""
    known = {(row["shop_id"], row["part_no"]): row for row in counts.to_dict("records")}
    for cells in pending_rows(home, asker, "stock")["stock"].values():
        key = cells["shop_id"], cells["part_no"]
        before, counted_on = known.get(key), pd.Timestamp(cells["counted_on"])
        if before is None or before["counted_on"] <= counted_on:
            same_day = before is not None and before["counted_on"] == counted_on
            used = before["used_since"] if before is not None and same_day else 0
            known[key] = _as_count(cells, used)
    return pd.DataFrame(list(known.values()), columns=counts.columns).astype(counts.dtypes)


def _as_count(cells: dict[str, str], used_since: int) -> dict[str, object]:
    on_order, due_on = cells.get("on_order"), cells.get("order_due_on")
    return {
        "shop_id": cells["shop_id"],
        "part_no": cells["part_no"],
        "counted_on": pd.Timestamp(cells["counted_on"]),
        "counted": int(cells["on_hand"]),
        "on_order": int(on_order) if on_order else pd.NA,
        "order_due_on": pd.Timestamp(due_on) if due_on else pd.NaT,
        "used_since": used_since,
        "pending": True,
    }


def _what_is_left(rows: pd.DataFrame) -> pd.DataFrame:
    """As in the stock plan: parts fitted since come off the shelf, and beyond it off the order."""
    over = (rows["used_since"] - rows["counted"]).clip(lower=0)
    due = (rows["on_order"].fillna(0) - over).clip(lower=0)
    return rows.assign(
        on_hand_now=(rows["counted"] - rows["used_since"]).clip(lower=0),
        due_now=due.where(rows["counted"].notna()),
    )
