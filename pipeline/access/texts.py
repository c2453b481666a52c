"""Fixed texts that a page shows: cautions, and what a bike's sweep covers."""

from __future__ import annotations

from models.statics.cautions import CAUTIONS
from models.sweeps.findings import STOP_TO_STOP


def cautions() -> list[str]:
    """The cautions to show wherever the tool tells people to work on a bike or judges a sensor."""
    return list(CAUTIONS)


def stop_to_stop() -> str:
    """What every figure over the travel rests on: a bike shows no more of the track."""
    return STOP_TO_STOP
