"""Stock from the screen: a count, an order placed, an order arrived, saved as rows of ``stock``.

The contract knows counts alone: a row says what lay on the shelf on a day, and what was on order
then. So an order is noted on the latest count, which it leaves as it was, and an arrival is a new
count, taken as the parts are put on the shelf.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, datetime

import pandas as pd

from pipeline.asker import Asker
from pipeline.home import Home
from pipeline.intake.typed.entries import Trouble, refuse, save_entry

_TABLE = "stock"


def save_count(
    home: Home,
    place: Mapping[str, object],
    *,
    counted_on: date | None,
    on_hand: int | None,
    on_order: int | None = None,
    due_on: date | None = None,
    now: datetime | None = None,
    asker: Asker | None = None,
) -> int:
    """Save what was counted on a day; return the number of the hand-in.

    Parameters
    ----------
    home : Home
        Where to.
    place : mapping
        ``shop_id`` and ``part_no``.
    counted_on : date
        The day.
    on_hand, on_order : int
        On the shelf, and ordered and not there, at its end.
    due_on : date, optional
        When the order is due.
    now : datetime, optional
        When it is saved; the present moment.
    asker : Asker, optional
        Who saves it; whoever is at this machine.

    Raises
    ------
    EntryError
        The shop, the part, the day or the number on the shelf is missing, or a cell is not what
        the contract expects.
    """
    wanted = {
        "shop_id": place.get("shop_id"),
        "part_no": place.get("part_no"),
        "counted_on": counted_on,
        "on_hand": on_hand,
    }
    refuse(Trouble(_TABLE, 1, name, "", "blank") for name, value in wanted.items() if value is None)
    row = wanted | {"on_order": on_order, "order_due_on": due_on if on_order else None}
    return save_entry(home, {_TABLE: [row]}, now=now, asker=asker)


def save_order(
    home: Home,
    place: Mapping[str, object],
    *,
    ordered: int | None,
    due_on: date | None,
    now: datetime | None = None,
    asker: Asker | None = None,
) -> int:
    """Note an order on the latest count of a part, beside what is still to come.

    Parameters
    ----------
    home : Home
        Where to.
    place : mapping
        A row of STOCK_BOOK.
    ordered : int
        Parts ordered, above 0.
    due_on : date or None
        When they are due; the records hold one day for all that is on order.
    now : datetime, optional
        When it is saved; the present moment.
    asker : Asker, optional
        Who saves it; whoever is at this machine.

    Raises
    ------
    EntryError
        The part was never counted there, or no number above 0 is given.
    """
    never = _day(place.get("counted_on")) is None
    refuse(
        [
            *([Trouble(_TABLE, 1, "", "", "never counted here: save a count first")] * never),
            *_above_zero("ordered", ordered),
        ]
    )
    return save_count(
        home,
        place,
        counted_on=_day(place["counted_on"]),
        on_hand=_whole(place["counted"]),
        on_order=_whole(place["on_order"]) + (ordered or 0),
        due_on=due_on or _day(place["order_due_on"]),
        now=now,
        asker=asker,
    )


def save_arrival(
    home: Home,
    place: Mapping[str, object],
    *,
    arrived_on: date | None,
    arrived: int | None,
    on_hand: int | None,
    now: datetime | None = None,
    asker: Asker | None = None,
) -> int:
    """Save the count taken when parts arrived; what they leave of the order stays on order.

    Parameters
    ----------
    home : Home
        Where to.
    place : mapping
        A row of STOCK_BOOK.
    arrived_on : date
        The day.
    arrived : int
        Parts that came, above 0.
    on_hand : int
        On the shelf with them.
    now : datetime, optional
        When it is saved; the present moment.
    asker : Asker, optional
        Who saves it; whoever is at this machine.

    Raises
    ------
    EntryError
        A number or the day is missing, the day is before the latest count, or fewer lie on the
        shelf than came.
    """
    counted_on = _day(place.get("counted_on"))
    found = _above_zero("arrived", arrived)
    if arrived_on and counted_on and arrived_on < counted_on:
        reason = f"before the latest count, of {counted_on}; expected that day or later"
        found.append(Trouble(_TABLE, 1, "arrived_on", arrived_on.isoformat(), reason))
    if arrived and on_hand is not None and 0 <= on_hand < arrived:
        reason = f"fewer than the {arrived} that arrived; expected all that lie there with them"
        found.append(Trouble(_TABLE, 1, "on_hand", str(on_hand), reason))
    refuse(found)
    left = max(_whole(place["due_now"]) - (arrived or 0), 0)
    return save_count(
        home,
        place,
        counted_on=arrived_on,
        on_hand=on_hand,
        on_order=left,
        due_on=_day(place["order_due_on"]) if left else None,
        now=now,
        asker=asker,
    )


def _above_zero(name: str, value: int | None) -> list[Trouble]:
    if value is not None and value > 0:
        return []
    given = "" if value is None else str(value)
    return [Trouble(_TABLE, 1, name, given, "expected a whole number above 0")]


def _day(value: object) -> date | None:
    """A day of a frame's cell; None for a blank."""
    return None if pd.isna(value) else pd.Timestamp(value).date()


def _whole(value: object) -> int:
    """A number of a frame's cell; 0 for a blank."""
    return 0 if pd.isna(value) else int(value)  # type: ignore[call-overload]
