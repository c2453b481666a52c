"""Fixed texts that a page shows: cautions."""

from __future__ import annotations

from models.statics.cautions import CAUTIONS


def cautions() -> list[str]:
    """The cautions to show wherever the tool tells people to work on a bike or judges a sensor."""
    return list(CAUTIONS)
