"""How far a builder says that it is, for pages to read."""

from __future__ import annotations

import json
import time
from dataclasses import dataclass, field

from pipeline.home import Home


@dataclass(frozen=True)
class HowFar:
    """What a builder is at: ``done`` of ``total`` in ``unit``; no total where none is known.

    ``left_s`` is how many seconds this stage may still take, None while that cannot be told;
    ``whole_s`` the least and the most that all of the work may. Both are of the moment at which
    it was told, ``age_s`` ago.
    """

    stage: str
    done: int = 0
    total: int = 0
    unit: str = ""
    left_s: float | None = None
    whole_s: tuple[float, float] | None = None
    age_s: float = field(default=0.0, compare=False)

    @property
    def whole_left(self) -> str:
        """About how long all of the work may still take, in words; empty where that is not known.

        A stage that takes longer than it ever did leaves nothing to tell.
        """
        if self.whole_s is None or self.whole_s[1] <= self.age_s:
            return ""
        least, most = (_rounded(max(of - self.age_s, 0.0)) for of in self.whole_s)
        return f"about {most}" if least == most else f"about {least} to {most}"


def _rounded(seconds: float) -> str:
    """A time that is known roughly, no finer than that."""
    if seconds < 50:
        return "1 minute" if seconds >= 30 else "half a minute"
    if seconds < 90 * 60:
        minutes = round(seconds / 60)
        return f"{minutes} minute{'s' if minutes > 1 else ''}"
    return f"{round(seconds / 3600)} hours"


def how_far(home: Home) -> HowFar | None:
    """What the builder of a home is at; None where there is none, or it has not said so."""
    if not home.is_being_built:
        return None
    try:
        known = json.loads(home.building_now.read_text(encoding="utf-8"))
        known["age_s"] = max(time.time() - home.building_now.stat().st_mtime, 0.0)
        known["whole_s"] = tuple(known["whole_s"]) if known["whole_s"] else None
        return HowFar(**known)
    except (OSError, ValueError, TypeError, KeyError):
        return None
