"""Values and limits as shown to people, always with their unit."""

from __future__ import annotations

import numpy as np
import pandas as pd

_FORMATS = {"V": "{:.3f} V", "ohm": "{:,.0f} ohm", "%": "{:.1f} %", "": "{:.3f}"}
_SMALL_OHM = 50.0  # below this the tenths matter: end resistances, or kilohms by mistake


def shown(value: float, unit: str) -> str:
    """A value with its unit, e.g. ``4,158 ohm``; ``not read`` where blank."""
    if pd.isna(value):
        return "not read"
    if np.isinf(value):
        return "endless"
    if unit == "ohm" and abs(value) < _SMALL_OHM:
        return f"{value:.3g} ohm"
    return _FORMATS[unit].format(value)


def place_in_band(value: float, low: float, high: float, unit: str) -> str:
    """Where a value lies: inside both limits, or below or above the one it breaks."""
    if value < low:
        return _beyond("below", value, low, unit)
    if value > high:
        return _beyond("above", value, high, unit)
    return f"inside {limits_shown(low, high, unit)}"


def _beyond(word: str, value: float, limit: float, unit: str) -> str:
    just = "just " if shown(value, unit) == shown(limit, unit) else ""
    return f"{just}{word} {shown(limit, unit)}"


def limits_shown(low: float, high: float, unit: str) -> str:
    """The limits of a range in words, one-sided where only one is known."""
    if pd.isna(low):
        return f"the limit of at most {shown(high, unit)}"
    if pd.isna(high):
        return f"the limit of at least {shown(low, unit)}"
    return f"{shown(low, unit)} to {shown(high, unit)}"
