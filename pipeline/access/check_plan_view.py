"""The plan of checks: visits, what got no day, and the calendar file."""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

from models.check_plan import schemas
from pipeline.access.icalendar_export import calendar_file
from pipeline.access.reading import Edition, edition_of, read_frame, reading
from pipeline.access.scope.allowed import view
from pipeline.asker import Asker
from pipeline.home import Home
from pipeline.warehouse.check_plan import CHECK_SETTINGS


@dataclass(frozen=True)
class CheckPlanView:
    """The plan of checks. ``settings`` is one row of CHECK_SETTINGS as a dict.

    ``visits`` CHECK_VISITS, ``unplaced`` CHECK_UNPLACED, ``days`` CHECK_DAYS, ``about``
    CHECK_ABOUT, ``events`` CHECK_EVENTS.
    """

    edition: Edition
    visits: pd.DataFrame
    unplaced: pd.DataFrame
    days: pd.DataFrame
    about: pd.DataFrame
    events: pd.DataFrame
    settings: dict


@view
def check_plan_view(home: Home, asker: Asker) -> CheckPlanView:
    """Everything the page of checks shows.

    Raises
    ------
    NotThereError
        Nothing is published in this home.
    """
    with reading(home, asker) as (manifest, connection):
        (settings,) = read_frame(connection, "check_settings", CHECK_SETTINGS).to_dict("records")
        return CheckPlanView(
            edition_of(home, manifest),
            read_frame(connection, "check_visits", schemas.CHECK_VISITS),
            read_frame(connection, "check_unplaced", schemas.CHECK_UNPLACED),
            read_frame(connection, "check_days", schemas.CHECK_DAYS),
            read_frame(connection, "check_about", schemas.CHECK_ABOUT),
            read_frame(connection, "check_events", schemas.CHECK_EVENTS),
            settings,
        )


def check_calendar(events: pd.DataFrame) -> bytes:
    """The calendar file of some of the plan's events, CHECK_EVENTS."""
    return calendar_file(events, "Checks of throttle sensors")
