"""The plan of checks as a calendar file (iCalendar, RFC 5545), by the `icalendar` library.

A visit keeps its UID until its bike has been tested again, so that a calendar that takes the file
in anew moves what it holds instead of adding to it; SEQUENCE counts the revisions and DTSTAMP is
the day of the last one (RFC 5545, 3.8.7.4 and 3.8.7.2; from memory). A visit planned no more comes
once more with STATUS:CANCELLED. There is no METHOD: that would make the file a message from an
organizer (RFC 5546), which no shop has named. A visit takes the whole day (DTSTART as a date, DTEND
the day after), since no hour of it is planned.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pandas as pd
from icalendar import Calendar, Event

from pipeline.access.texts import cautions

_PRODUCT = "-//Wear Atlas//Plan of checks//EN"


def calendar_file(events: pd.DataFrame, title: str) -> bytes:
    """A calendar file of the events given.

    Parameters
    ----------
    events : frame of shape (n, ...)
        Columns of ``CHECK_EVENTS``.
    title : str
        Name of the calendar.
    """
    calendar = Calendar()
    calendar.add("prodid", _PRODUCT)
    calendar.add("version", "2.0")
    calendar.add("name", title)
    for row in events.to_dict("records"):
        calendar.add_component(_event(row))
    return calendar.to_ical()


def _event(row: dict) -> Event:
    on_day, cancelled = row["on_day"].date(), bool(row["cancelled"])
    event = Event()
    event.add("uid", row["uid"])
    event.add("dtstamp", datetime.combine(row["changed_on"].date(), datetime.min.time(), UTC))
    event.add("sequence", int(row["revision"]))
    event.add("dtstart", on_day)
    event.add("dtend", on_day + timedelta(days=1))
    event.add("summary", f"{'Cancelled: ' if cancelled else ''}Check bike {row['label']}")
    event.add("location", row["shop_name"])
    event.add("description", _description(row, cancelled=cancelled))
    event.add("status", "CANCELLED" if cancelled else "CONFIRMED")
    event.add("transp", "TRANSPARENT")
    return event


def _description(row: dict, *, cancelled: bool) -> str:
    if cancelled:
        return "This check is planned no more. That declares no bike safe."
    told = cautions()
    care = f"Before any work on the bike: {' '.join([told[0], *told[-2:]])}"
    until = "A planned day declares no bike safe until then."
    return "\n".join([row["todo"], row["why"], until, care])
