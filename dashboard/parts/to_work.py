"""Links from a bike to the forms of work on it."""

from __future__ import annotations

from dashboard.markup import Html, link


def to_work(unit_id: str) -> list[Html]:
    """To the bench, and to closing a job."""
    return [
        link("Test at the bench", "bench", "wa-pressed", unit=unit_id),
        link("Close a job", "job", "wa-pressed", unit=unit_id),
    ]


def to_job(unit_id: str, sensor_id: str, session_id: str) -> Html:
    """To closing the job that a test led to."""
    words = "Close the job that this test led to"
    return link(words, "job", "wa-pressed", unit=unit_id, sensor=sensor_id, session=session_id)


def to_records(unit_id: str) -> list[Html]:
    """To the odometer and particulars, and to the bike's tag."""
    return [
        link("Odometer, sensors and particulars", "register", "wa-pressed", unit=unit_id),
        link("Print its tag", "tags", "wa-pressed", unit=unit_id),
    ]
