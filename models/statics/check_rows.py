"""Rows of one check over many bench tests, and the rows of all checks put in order."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from models.statics.coded import Coded, category, category_of, check_coded, same_text
from models.statics.schemas import CHECKS

COMMON_PRACTICE = "common practice, no source"
STATES = ("in_band", "out_of_band", "no_band", "not_read")
IN_BAND, OUT_OF_BAND, NO_BAND, NOT_READ = range(len(STATES))
# Where a check points; the last says that the supply comes first, and so points to it.
PLACES = (
    "",
    "supply",
    "ground",
    "connector",
    "wiring",
    "sensor",
    "control_unit",
    "reading",
    "supply_first",
)
_POINTED_AT = [*PLACES[:-1], "supply"]
# Places outside the sensor, which are put right before its own readings count.
OUTSIDE = ("supply", "ground", "connector", "wiring")


@dataclass(frozen=True)
class CheckWords:
    """What is said of rows of one check, each of m rows."""

    value_text: Coded
    text: Coded
    band_source: Coded


@dataclass(frozen=True)
class CheckRows:
    """Rows of one check, all arrays of shape (m,).

    ``row`` are the bench tests' places in READINGS, ascending; ``state`` and ``points_to`` are
    places in STATES and PLACES. ``words`` gives what is said of them, put together when asked.
    """

    check: str
    row: np.ndarray
    state: np.ndarray
    points_to: np.ndarray
    words: Callable[[], CheckWords]
    value: np.ndarray
    low: np.ndarray
    high: np.ndarray
    unit: str = ""


def without_numbers(
    check: str,
    row: np.ndarray,
    state: np.ndarray,
    points_to: np.ndarray,
    value_text: Coded,
    text: Coded,
    source: str = COMMON_PRACTICE,
) -> CheckRows:
    """Rows of a check answered in words."""
    blank = np.full(len(row), np.nan)
    said = CheckWords(value_text, text, same_text(source, len(row)))
    return CheckRows(check, row, state, points_to, lambda: said, blank, blank, blank)


def outcomes(blocks: Sequence[CheckRows], n: int) -> tuple[np.ndarray, np.ndarray]:
    """Of n bench tests, shape (n,): checks out of band by which the sensor is suspect, and others.

    The second counts those that point outside it.
    """
    row, state, points_to = (
        np.concatenate([getattr(block, name) for block in blocks])
        for name in ("row", "state", "points_to")
    )
    outside = np.concatenate([points_outside(block) for block in blocks])
    sensor = (state == OUT_OF_BAND) & (points_to == PLACES.index("sensor"))
    return np.bincount(row[sensor], minlength=n), np.bincount(row[outside], minlength=n)


def points_outside(rows: CheckRows) -> np.ndarray:
    """Which rows are out of band and point outside the sensor."""
    outside = np.array([place in OUTSIDE for place in _POINTED_AT])
    return (rows.state == OUT_OF_BAND) & outside[rows.points_to]


def in_order(blocks: Sequence[CheckRows], session_ids: pd.Series) -> pd.DataFrame:
    """CHECKS, texts as categories: sessions as handed in, their steps as the blocks stand.

    Every session has a row in some block.
    """
    row = np.concatenate([block.row for block in blocks])
    # A stable sort keeps several rows of one block, such as fault codes, as they were written.
    order = np.argsort(row, kind="stable")
    steps = np.bincount(row, minlength=len(session_ids))
    row = row[order]
    first = np.cumsum(steps) - steps
    told = [block.words() for block in blocks]
    texts = {
        "session_id": category_of(session_ids, row),
        "check": category([same_text(b.check, len(b.row)) for b in blocks], order),
        "state": category([Coded(b.state, STATES) for b in blocks], order),
        "value_text": category([words.value_text for words in told], order),
        "unit": category([same_text(b.unit, len(b.row)) for b in blocks], order),
        "band_source": category([words.band_source for words in told], order),
        "points_to": category([Coded(b.points_to, _POINTED_AT) for b in blocks], order),
        "text": category([words.text for words in told], order),
    }
    numbers = {
        name: np.concatenate([getattr(block, name) for block in blocks])[order]
        for name in ("value", "low", "high")
    }
    step = np.arange(1, len(row) + 1) - first[row]
    return check_coded(CHECKS, pd.DataFrame({"step": step, **numbers, **texts}))
