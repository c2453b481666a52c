"""How far a builder says that it is, for pages to read."""

from __future__ import annotations

import json
from dataclasses import dataclass

from pipeline.home import Home


@dataclass(frozen=True)
class HowFar:
    """What a builder is at: ``done`` of ``total`` in ``unit``; no total where none is known.

    ``left_s`` is how many seconds this stage may still take, None while that cannot be told.
    """

    stage: str
    done: int = 0
    total: int = 0
    unit: str = ""
    left_s: float | None = None


def how_far(home: Home) -> HowFar | None:
    """What the builder of a home is at; None where there is none, or it has not said so."""
    if not home.is_being_built:
        return None
    try:
        return HowFar(**json.loads(home.building_now.read_text(encoding="utf-8")))
    except (OSError, ValueError, TypeError):
        return None
