"""From how many shops and sensors on what all their records say together is shown to any of them.

They stand in the section ``[pooled]`` of ``settings.toml``. Where one owner holds all shops, both
may be set to 1.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import Field, dataclass, field, fields
from typing import Any

from models.plans.settings import Bounds, held_to_bounds

POOLED = "pooled"


def _set(default: int, meaning: str, **bounds: Any) -> Any:
    return field(default=default, metadata={"bounds": Bounds(POOLED, meaning, **bounds)})


@dataclass(frozen=True)
class PooledSettings:
    """What must stand behind a curve or a range before it is shown beyond one shop."""

    pooled_least_shops: int = _set(
        5,
        "shops behind a curve or a good range before it is shown to one of them; 1 where one owner "
        "holds all",
        unit="shops",
        least=1,
        most=1000,
    )
    pooled_least_sensors: int = _set(
        30,
        "sensors behind a curve or a good range before it is shown to one shop of several",
        unit="sensors",
        least=1,
        most=100_000,
    )


def declared_pooled() -> dict[str, tuple[Bounds, int]]:
    """Each setting by name: its bounds and its default."""
    return {item.name: (_bounds(item), int(str(item.default))) for item in fields(PooledSettings)}


def pooled_from(values: Mapping[str, object]) -> tuple[PooledSettings, dict[str, str]]:
    """The settings, and for each value that cannot stand what was expected in its place."""
    taken, faults = held_to_bounds(declared_pooled(), values)
    return PooledSettings(**taken), faults


def _bounds(item: Field) -> Bounds:
    return item.metadata["bounds"]
