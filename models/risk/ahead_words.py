"""Chances ahead in words: many at a time, each way of saying it put together once."""

from __future__ import annotations

import numpy as np
import pandas as pd

from models.plans.wording import in_100

#: Beside the whole numbers out of 100: exactly on the edge of none, nearly all, and not known.
_ON_EDGE, _NEARLY_ALL, _NOT_KNOWN, _CODES = 101, 102, 103, 104


def about_in_100(chance: float, low: float, high: float) -> str:
    """A chance and its interval in words: "about 4 in 100, likely 2 to 7"."""
    if np.isnan(chance):
        return "not known"
    number = in_100(chance)
    about = number if number.startswith(("less", "more")) else f"about {number}"
    if np.isnan(low) or np.isnan(high):
        return f"{about} in 100"
    if in_100(low) == in_100(high):
        return f"{about} in 100, likely {in_100(high)}"
    return (
        f"{about} in 100, likely {'up to' if low < 0.005 else f'{in_100(low)} to'} {in_100(high)}"
    )


def all_in_100(chances: np.ndarray) -> np.ndarray:
    """``about_in_100`` of each row of chances with their ends, shape (n, 3), as texts."""
    codes = _coded(chances)
    key = (codes[:, 0] * _CODES + codes[:, 1]) * _CODES + codes[:, 2]
    _, first, place = np.unique(key, return_index=True, return_inverse=True)
    texts = [about_in_100(*row) for row in chances[first].tolist()]
    return np.array(texts, dtype=object)[place]


def ahead_words(table: pd.DataFrame) -> list[str]:
    """A sentence for each row in the columns of ``RISK_AHEAD``."""
    defect, road = (
        all_in_100(table[[name, f"{name}_low", f"{name}_high"]].to_numpy(float))
        for name in ("defect", "road")
    )
    stale = table["odometer_stale"].to_numpy(bool)
    rows = zip(_whens(table), defect, road, stale, strict=True)
    return [_sentence(*row) for row in rows]


def _coded(chances: np.ndarray) -> np.ndarray:
    """Numbers that tell apart what is worded apart, below ``_CODES``."""
    codes = np.round(100 * np.nan_to_num(chances)).astype(int)
    codes[chances < 0.005] = 0
    codes[chances == 0.005] = _ON_EDGE
    codes[(chances >= 0.995) & (chances < 1)] = _NEARLY_ALL
    codes[np.isnan(chances)] = _NOT_KNOWN
    return codes


def _whens(table: pd.DataFrame) -> list[tuple[str, bool]]:
    """When a row's chance is for, and whether that is told by date."""
    kinds, horizons = table["horizon_kind"].tolist(), table["horizon"].tolist()
    named = {pair: f"{pair[1]:,.0f} {pair[0]}" for pair in set(zip(kinds, horizons, strict=True))}
    rows = zip(kinds, horizons, table["km"].tolist(), strict=True)
    return [
        (f"{named[kind, horizon]} (about {km:,.0f} km)", True)
        if kind == "days"
        else (named[kind, horizon], False)
        for kind, horizon, km in rows
    ]


def _sentence(when: tuple[str, bool], defect: str, road: str, stale: bool) -> str:
    named, by_days = when
    if defect == "not known":
        return f"Within {named}: not known."
    text = f"Within {named}: a defect {defect}; a road failure {road}."
    if by_days and stale:
        text += " The odometer has not been read for long, so the date is a guess."
    return text
