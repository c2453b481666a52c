"""The state of a check, told by its shape and its word."""

from __future__ import annotations

from dashboard.markup import Html, tag
from dashboard.wording.session_words import reading_state


def state_mark(row: dict) -> Html:
    """The mark of one row of CHECKS."""
    return tag("span", reading_state(row), class_=f"wa-state wa-state-{row['state']}")
