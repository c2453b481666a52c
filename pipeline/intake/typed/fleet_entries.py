"""A fleet's entries from the screen: windows in which bikes are free, and bikes out of service."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date, datetime

from pipeline.asker import Asker
from pipeline.home import Home
from pipeline.intake.typed.entries import EntryError, Trouble, refuse, save_entry


def save_windows(
    home: Home,
    unit_ids: Sequence[str],
    free_from: date | None,
    free_to: date | None,
    *,
    now: datetime | None = None,
    asker: Asker | None = None,
) -> int:
    """Save one window for several bikes; return the number of the hand-in.

    Parameters
    ----------
    home : Home
        Where to.
    unit_ids : sequence of str
        The bikes.
    free_from, free_to : date
        First and last day on which they can be spared.
    now : datetime, optional
        When it is saved; the present moment.
    asker : Asker, optional
        Who saves it; whoever is at this machine.

    Raises
    ------
    EntryError
        No bike or a day is missing, or the window ends before it begins.
    """
    found = []
    if not unit_ids:
        found.append(_trouble("unit_id", "", "none is chosen; expected at least one bike"))
    for name, value in (("free_from", free_from), ("free_to", free_to)):
        if value is None:
            found.append(_trouble(name, "", "blank; expected a day"))
    if free_from and free_to and free_to < free_from:
        reason = f"before the first day, {free_from}; expected that day or later"
        found.append(_trouble("free_to", free_to.isoformat(), reason))
    refuse(found)
    rows = [{"unit_id": u, "free_from": free_from, "free_to": free_to} for u in unit_ids]
    return save_entry(home, {"calendar": rows}, now=now, asker=asker)


def take_back_windows(
    home: Home,
    keys: Sequence[str],
    reason: str,
    *,
    now: datetime | None = None,
    asker: Asker | None = None,
) -> int:
    """Take windows back by their keys (bike/first day/last day), with a reason.

    Raises
    ------
    EntryError
        No window is named, or no reason is given.
    """
    found = []
    if not keys:
        found.append(_trouble("key", "", "none is chosen; expected at least one window", "retract"))
    if not reason.strip():
        found.append(_trouble("reason", "", "blank; expected a reason", "retract"))
    refuse(found)
    rows = [{"table": "calendar", "key": key, "reason": reason.strip()} for key in keys]
    return save_entry(home, {"retract": rows}, now=now, asker=asker)


def take_out_of_service(
    home: Home,
    unit: Mapping[str, str] | None,
    out_on: date | None,
    *,
    now: datetime | None = None,
    asker: Asker | None = None,
) -> int:
    """Save the day on which a bike left service.

    Parameters
    ----------
    home : Home
        Where to.
    unit : mapping or None
        The bike's row of ``units`` as it stands, so that no other cell of it is lost.
    out_on : date
        First day out of service.
    now : datetime, optional
        When it is saved; the present moment.
    asker : Asker, optional
        Who saves it; whoever is at this machine.

    Raises
    ------
    EntryError
        No bike or day is given, or the day lies ahead or before its first day in service.
    """
    began = unit.get("in_service_on") if unit else None
    if not unit or out_on is None:
        name, what = ("out_of_service_on", "a day") if unit else ("unit_id", "a bike")
        raise EntryError([_trouble(name, "", f"blank; expected {what}", "units")])
    if began and out_on.isoformat() < began:
        reason = f"before its first day in service, {began}; expected that day or later"
        raise EntryError([_trouble("out_of_service_on", out_on.isoformat(), reason, "units")])
    row = dict(unit) | {"out_of_service_on": out_on.isoformat()}
    return save_entry(home, {"units": [row]}, now=now, asker=asker)


def bring_back(
    home: Home,
    unit: Mapping[str, str] | None,
    *,
    now: datetime | None = None,
    asker: Asker | None = None,
) -> int:
    """Save a bike's row without a day out of service; parameters as above.

    Raises
    ------
    EntryError
        No bike is given.
    """
    if not unit:
        raise EntryError([_trouble("unit_id", "", "blank; expected a bike", "units")])
    row = {name: cell for name, cell in unit.items() if name != "out_of_service_on"}
    return save_entry(home, {"units": [row]}, now=now, asker=asker)


def _trouble(column: str, value: str, reason: str, table: str = "calendar") -> Trouble:
    return Trouble(table, 1, column, value, reason)
