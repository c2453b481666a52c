"""The limits that each check holds a reading against: a few sets of them for all bench tests."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from models.statics.check_rows import COMMON_PRACTICE


@dataclass(frozen=True)
class Limits:
    """Sets of limits of one reading, k of them, and which holds for each of n bench tests.

    ``which`` has shape (n,); ``low`` and ``high`` have shape (k,). ``source`` says at length where
    a set comes from and ``words`` in short; None where no range is known.
    """

    which: np.ndarray
    low: np.ndarray
    high: np.ndarray
    source: Sequence[str | None]
    words: Sequence[str | None]


def limits_by_part(
    part_no: pd.Series, bands: pd.DataFrame, readings: Sequence[str]
) -> dict[str, Limits]:
    """Each reading's limits, a set a part number, by the part number of each bench test."""
    which, parts = pd.factorize(part_no)
    known = {(band["part_no"], band["reading"]): band for band in bands.to_dict("records")}
    return {name: _of_parts(which, [known.get((p, name)) for p in parts]) for name in readings}


def _of_parts(which: np.ndarray, bands: list[dict | None]) -> Limits:
    low, high = (
        np.array([np.nan if band is None else band[side] for band in bands], dtype=float)
        for side in ("low", "high")
    )
    source = [None if band is None else band["method"] for band in bands]
    words = [None if band is None else _source_words(band) for band in bands]
    return Limits(which, low, high, source, words)


def _source_words(band: dict) -> str:
    """Where a range comes from, in a few words; the method at length where there is no range."""
    if pd.isna(band["low"]) and pd.isna(band["high"]):
        return band["method"]
    if band["source"] == "maker":
        return "the maker's limits"
    count = band["sensor_count"]
    return f"learned from {count} good sensors" if band["source"] == "learned" else COMMON_PRACTICE


def fixed(low: float, high: float, n: int) -> Limits:
    """The same limits for n bench tests, by common practice."""
    return scaled(np.ones(n), low, high)


def scaled(by: np.ndarray, low: float, high: float) -> Limits:
    """Limits by common practice, in proportion to a number a bench test of shape (n,)."""
    which, times = pd.factorize(by)
    said = [COMMON_PRACTICE] * len(times)
    return Limits(which, times * low, times * high, said, said)


def or_usual(limits: Limits, usual: tuple[float, float]) -> Limits:
    """Limits by common practice where a set has none."""
    none = np.isnan(limits.low) & np.isnan(limits.high)

    def said(texts: Sequence[str | None]) -> list[str | None]:
        return [COMMON_PRACTICE if no else text for no, text in zip(none, texts, strict=True)]

    return replace(
        limits,
        low=np.where(none, usual[0], limits.low),
        high=np.where(none, usual[1], limits.high),
        source=said(limits.source),
        words=said(limits.words),
    )


def signs_by_limits(closed: Limits, opened: Limits) -> np.ndarray:
    """+1 where the open range lies wholly above the closed one, -1 below, 0 where not known.

    Shape (n,), of limits by part.
    """
    above = (opened.low > closed.high).astype(int)
    return (above - (opened.high < closed.low))[closed.which]
