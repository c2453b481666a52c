"""Values and limits as shown to people, always with their unit."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

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
    side = -1 if value < low else 1 if value > high else 0
    return place_on_side(side, shown(value, unit), low, high, unit)


def place_on_side(side: int, value_text: str, low: float, high: float, unit: str) -> str:
    """The same of a value as shown that lies below (-1), inside (0) or above (1) the limits."""
    if not side:
        return f"inside {limits_shown(low, high, unit)}"
    limit = shown(low if side < 0 else high, unit)
    just = "just " if value_text == limit else ""
    return f"{just}{'below' if side < 0 else 'above'} {limit}"


def limits_shown(low: float, high: float, unit: str) -> str:
    """The limits of a range in words, one-sided where only one is known."""
    if pd.isna(low):
        return f"the limit of at most {shown(high, unit)}"
    if pd.isna(high):
        return f"the limit of at least {shown(low, unit)}"
    return f"{shown(low, unit)} to {shown(high, unit)}"


def said_once(columns: Sequence[pd.Series | np.ndarray], words: Callable[..., Any]) -> np.ndarray:
    """``words`` of the values of each row, worked out once for all rows that are alike.

    Parameters
    ----------
    columns : sequence of arrays of shape (n,)
        What ``words`` takes, in its order; blanks are like one another.
    words : callable
        A function of its arguments alone.
    """
    number = np.zeros(len(columns[0]), dtype=np.int64)
    for column in columns:
        codes, known = pd.factorize(column, use_na_sentinel=True)
        number = number * (len(known) + 1) + codes + 1
        # numbered anew, so that the product stays small
        number = pd.factorize(number)[0].astype(np.int64)
    first = np.unique(number, return_index=True)[1]
    alike = [np.asarray(column.take(first), dtype=object) for column in columns]
    found = np.empty(len(first), dtype=object)
    found[:] = [words(*values) for values in zip(*alike, strict=True)]
    return found[number]
