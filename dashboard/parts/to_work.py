"""Links from a bike to the forms of work on it, nothing for whose part they are not."""

from __future__ import annotations

from dashboard.markup import Html
from dashboard.surround import way


def to_work(unit_id: str) -> list[Html]:
    """To the bench, and to closing a job."""
    return [
        way("Test at the bench", "bench", unit=unit_id),
        way("Close a job", "job", unit=unit_id),
    ]


def to_job(unit_id: str, sensor_id: str, session_id: str) -> Html:
    """To closing the job that a test led to."""
    words = "Close the job that this test led to"
    return way(words, "job", unit=unit_id, sensor=sensor_id, session=session_id)


def to_records(unit_id: str) -> list[Html]:
    """To the odometer and particulars, and to the bike's tag."""
    return [
        way("Odometer, sensors and particulars", "register", unit=unit_id),
        way("Print its tag", "tags", unit=unit_id),
    ]
