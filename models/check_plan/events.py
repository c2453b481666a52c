"""What stands in calendars: each visit under its lasting identifier, revised or cancelled."""

from __future__ import annotations

from datetime import date

import pandas as pd

from models.check_plan.schemas import CHECK_EVENTS

_SHOWN = ["unit_id", "label", "shop_id", "shop_name", "fleet_id", "on_day", "todo", "why"]
#: What makes a visit another one to its reader; a changed reason alone does not.
_TOLD = ["shop_id", "on_day", "todo"]
#: Days after its own day for which a cancelled visit is still told as such.
KEPT_DAYS = 56


def events_after(earlier: pd.DataFrame, visits: pd.DataFrame, as_of: date) -> pd.DataFrame:
    """The events of a new plan, given those of the plan before.

    A visit that was there before keeps its revision where day, shop and work are the same, and
    counts one more where not. One that is planned no more is cancelled, unless its day has come.

    Parameters
    ----------
    earlier : frame of shape (m, ...)
        Columns of ``CHECK_EVENTS``; empty before the first plan.
    visits : frame of shape (n, ...)
        Columns of ``CHECK_VISITS``.
    as_of : date
        The new plan's as-of day.

    Returns
    -------
    frame in the columns of ``CHECK_EVENTS``, by uid.
    """
    day = pd.Timestamp(as_of)
    before = {row["uid"]: row for row in CHECK_EVENTS.check(earlier).to_dict("records")}
    rows = [
        _planned(row, before.get(row["uid"]), day)
        for row in visits[[*_SHOWN, "uid"]].to_dict("records")
    ]
    planned = {row["uid"] for row in rows}
    gone = [row for uid, row in before.items() if uid not in planned]
    rows += [_gone(row, day) for row in gone if _still_told(row, day)]
    found = pd.DataFrame(rows, columns=CHECK_EVENTS.names)
    return CHECK_EVENTS.check(found).sort_values("uid", ignore_index=True)


def _planned(visit: dict, before: dict | None, day: pd.Timestamp) -> dict:
    row = visit | {"revision": 0, "changed_on": day, "cancelled": False}
    if before is None:
        return row
    same = not before["cancelled"] and all(before[name] == visit[name] for name in _TOLD)
    if same:
        return row | {"revision": before["revision"], "changed_on": before["changed_on"]}
    return row | {"revision": before["revision"] + 1}


def _gone(row: dict, day: pd.Timestamp) -> dict:
    if row["cancelled"]:
        return row
    return row | {"revision": row["revision"] + 1, "changed_on": day, "cancelled": True}


def _still_told(row: dict, day: pd.Timestamp) -> bool:
    if row["cancelled"]:
        return bool(day <= row["on_day"] + pd.Timedelta(days=KEPT_DAYS))
    return bool(row["on_day"] > day)
