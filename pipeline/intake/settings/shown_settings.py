"""How values are shown: distances, dates, clock times, and where a bike's tag leads.

They stand in the section ``[shown]`` of ``settings.toml`` beside the owner's costs. What is kept
and worked out stays in km and in ISO dates whatever is chosen here.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import Field, dataclass, field, fields
from typing import Any
from urllib.parse import urlsplit
from zoneinfo import ZoneInfo

from models.plans.settings import Bounds, held_to_bounds

SECTION = "shown"
KM, MILES = "km", "miles"
BY_YEAR, BY_DAY = "year-month-day", "day month year"
LANGUAGES = ("English", "German", "French", "Spanish", "Italian", "Dutch", "Portuguese")
_LONGEST = 120


@dataclass(frozen=True)
class TextBounds(Bounds):
    """Bounds of a text: ``expected`` says what it must be where ``stands`` denies it."""

    stands: Callable[[str], bool] = lambda text: True
    expected: str = ""

    def fault(self, value: object, default: object) -> str:
        """What was expected in place of ``value``; empty where it may stand."""
        found = super().fault(value, default)
        return found or ("" if self.stands(str(value)) else self.expected)


def is_base_address(text: str) -> bool:
    """Whether pages can be addressed below a text; none may stand."""
    if not text:
        return True
    if len(text) > _LONGEST or any(c.isspace() or not c.isprintable() for c in text):
        return False
    try:
        parts = urlsplit(text)
        _ = parts.port
    except ValueError:
        return False
    plain = not parts.query and not parts.fragment and not parts.username
    return parts.scheme in ("http", "https") and bool(parts.hostname) and plain


def is_time_zone(text: str) -> bool:
    """Whether a text names a time zone that this machine knows; none may stand."""
    try:
        return not text or bool(ZoneInfo(text))
    except (ValueError, OSError, KeyError):
        return False


def _set(default: str, meaning: str, **bounds: Any) -> Any:
    return field(default=default, metadata={"bounds": TextBounds(SECTION, meaning, **bounds)})


@dataclass(frozen=True)
class ShownSettings:
    """How values are shown, each at its default until it is set."""

    distances: str = _set(KM, "distances on the pages (records stay in km)", words=(KM, MILES))
    dates: str = _set(
        BY_YEAR,
        "how a date is written: 2026-03-14 or 14 March 2026",
        words=(BY_YEAR, BY_DAY),
    )
    language_of_dates: str = _set(
        "English", "language of the months in dates that name them", words=LANGUAGES
    )
    time_zone: str = _set(
        "",
        "time zone that clock times are shown in, such as Europe/Berlin; none keeps each as it "
        "was recorded",
        stands=is_time_zone,
        expected="a time zone such as Europe/Berlin, or nothing",
    )
    base_address: str = _set(
        "",
        "address under which phones reach these pages, for the tags of bikes, such as "
        "http://192.168.1.20:8650; none puts the bare bike id on a tag",
        stands=is_base_address,
        expected="an address such as http://192.168.1.20:8650, or nothing",
    )

    def __post_init__(self) -> None:
        for item in fields(self):
            fault = _bounds(item).fault(getattr(self, item.name), item.default)
            if fault:
                raise ValueError(f"{item.name} is {getattr(self, item.name)!r}, expected {fault}")


def declared_shown() -> dict[str, tuple[Bounds, str]]:
    """Every setting by name: its bounds and its default, in the order of declaration."""
    return {item.name: (_bounds(item), str(item.default)) for item in fields(ShownSettings)}


def shown_from(values: Mapping[str, object]) -> tuple[ShownSettings, dict[str, str]]:
    """The settings, and for each value that cannot stand what was expected in its place."""
    taken, faults = held_to_bounds(declared_shown(), values)
    return ShownSettings(**taken), faults


def _bounds(item: Field) -> Bounds:
    return item.metadata["bounds"]
