"""Values and limits as shown to people, always with their unit."""

from __future__ import annotations

import numpy as np
import pandas as pd

_FORMATS = {"V": "{:.3f} V", "ohm": "{:,.0f} ohm", "%": "{:.1f} %", "": "{:.3f}"}
_STEPS = {"V": 1_000, "ohm": 1, "%": 10, "": 1_000}  # last places shown, to one unit
_MANY_STEPS = 1e9  # far fewer than a number of so many digits could tell apart
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


def shown_alike(values: np.ndarray, unit: str) -> np.ndarray:
    """For each value of shape (n,) one that `shown` shows the same: where sure, the one shown.

    A value well away from half a last place is rounded up or down for certain. The others, such
    as are shown by their leading digits, and what rounds to nothing from below, are left alone.
    """
    steps = _STEPS[unit]
    with np.errstate(over="ignore", invalid="ignore"):
        scaled = values * steps
        whole = np.rint(scaled)
        sure = (np.abs(scaled - whole) < 0.499) & (np.abs(whole) < _MANY_STEPS) & (whole != 0)
    if unit == "ohm":
        sure &= np.abs(values) >= _SMALL_OHM
    return np.where(sure, whole / steps, values)


def limits_shown(low: float, high: float, unit: str) -> str:
    """The limits of a range in words, one-sided where only one is known."""
    if pd.isna(low):
        return f"the limit of at most {shown(high, unit)}"
    if pd.isna(high):
        return f"the limit of at least {shown(low, unit)}"
    return f"{shown(low, unit)} to {shown(high, unit)}"


class PlacesInBand:
    """Where a value lies, in words, for one range; the limits are worded once for all values."""

    def __init__(self, low: float, high: float, unit: str) -> None:
        self._inside = f"inside {limits_shown(low, high, unit)}"
        self._low, self._high = shown(low, unit), shown(high, unit)

    def of(self, side: int, value_text: str) -> str:
        """For a value as shown that lies below (-1), inside (0) or above (1) the limits."""
        if not side:
            return self._inside
        limit = self._low if side < 0 else self._high
        just = "just " if value_text == limit else ""
        return f"{just}{'below' if side < 0 else 'above'} {limit}"
