"""Tests and their travel bins as arrays: a row a test, a column a bin."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import pandas as pd

from models.wear.exposure import BIN_PCT, BINS, exposure
from models.wear.groups import text
from models.wear.schemas import PLACED_BINS, WEAR_BINS, WEAR_TESTS

LEAST_BINS = 15  # a session with fewer readable bins has no median to hold a bin against
GREATEST_ROUGHNESS = 8.0  # beyond this a bin says no more: a lift-off, not grain
_TESTS_AT_ONCE = 10_000  # worked out in double precision at a time, for the memory


#: What a test says besides its bins, of what the map takes from it.
_TOLD = ("session_id", "life_id", "part_no", "duty", "fault_nature", "sensor_age_km")


class WearError(ValueError):
    """Records that cannot be mapped; the message names what is wrong."""


@dataclass(frozen=True)
class WearRecords:
    """Bench tests and what each travel bin showed.

    tests : frame of ``WEAR_TESTS``, shape (n, ...).
    counts : drop-outs, shape (n, BINS). exposure : passes that would have shown one, same shape.
    roughness : smoothness over the session's median, NaN where not known, same shape.
    """

    tests: pd.DataFrame
    counts: np.ndarray
    exposure: np.ndarray
    roughness: np.ndarray

    def __len__(self) -> int:
        return len(self.tests)

    @cached_property
    def keys(self) -> np.ndarray:
        """Digest of all that a map takes from each test but its sensor and bike."""
        told = zip(*(text(self.tests[name]) for name in _TOLD), strict=True)
        shown = (np.ascontiguousarray(v) for v in (self.counts, self.exposure, self.roughness))
        return np.array([_digest(*row) for row in zip(told, *shown, strict=True)], dtype=object)

    def take(self, rows: np.ndarray) -> WearRecords:
        """The tests chosen by a mask or by row numbers."""
        tests = self.tests.iloc[np.arange(len(self))[rows]].reset_index(drop=True)
        return WearRecords(tests, self.counts[rows], self.exposure[rows], self.roughness[rows])


def wear_records(tests: pd.DataFrame, bins: pd.DataFrame) -> WearRecords:
    """Lay tests and bins out as arrays.

    Drop-outs that wander with the lead say nothing about the track and hide what would: such a
    session has no exposure. A bin without a row has none either.

    Parameters
    ----------
    tests : frame of ``WEAR_TESTS``
        One row a session.
    bins : frame of ``WEAR_BINS``
        Rows in any order.

    Raises
    ------
    WearError
        A session comes twice, a bin has no test, or its edge is not a multiple of 2 in 0 to 98.
    """
    tests = _checked(tests)
    bins = WEAR_BINS.check(bins)
    row = pd.Index(tests["session_id"]).get_indexer(bins["session_id"])
    if (row < 0).any():
        raise WearError(f"wear_bins: no test {bins['session_id'].iloc[int(np.argmin(row))]}")
    return _laid_out(tests, [bins.drop(columns="session_id").assign(test_no=row)])


def placed_records(tests: pd.DataFrame, parts: Iterable[pd.DataFrame]) -> WearRecords:
    """The same of bins that come in parts, for the memory: frames of ``PLACED_BINS``."""
    return _laid_out(_checked(tests), parts)


def _checked(tests: pd.DataFrame) -> pd.DataFrame:
    tests = WEAR_TESTS.check(tests).reset_index(drop=True)
    again = tests["session_id"].duplicated()
    if again.any():
        raise WearError(f"wear_tests: session {tests['session_id'][again].iloc[0]} comes twice")
    return tests


def _laid_out(tests: pd.DataFrame, parts: Iterable[pd.DataFrame]) -> WearRecords:
    shape = (len(tests), BINS)
    there = np.zeros(shape, dtype=bool)
    passes, counts = np.zeros(shape, np.float32), np.zeros(shape, np.float32)
    interval, height = np.full(shape, np.nan, np.float32), np.full(shape, np.nan, np.float32)
    shown = {"pass_count": passes, "dropout_count": counts}
    shown |= {"shortest_visible_ms": interval, "smoothness_pct": height}
    for part in parts:
        bins = PLACED_BINS.check(part)
        place = _places(tests, bins, there)
        for name, array in shown.items():
            array.ravel()[place] = bins[name].to_numpy(dtype=np.float32, na_value=np.nan)
    for begin in range(0, len(tests), _TESTS_AT_ONCE):
        some = slice(begin, begin + _TESTS_AT_ONCE)
        # into the arrays that they are made from, so that no others are needed
        seen = _seen(tests.iloc[some], passes[some], interval[some])
        counts[some][seen <= 0.0] = 0.0
        passes[some], height[some] = seen, roughness_of(height[some])
    return WearRecords(tests, counts, passes, height)


def _seen(tests: pd.DataFrame, passes: np.ndarray, interval_ms: np.ndarray) -> np.ndarray:
    speed = tests["speed_pct_per_s"].to_numpy()
    seen = exposure(passes, interval_ms, speed[:, None])
    seen[(tests["fault_nature"] == "wandering").fillna(False).to_numpy(dtype=bool)] = 0.0
    return seen


def roughness_of(smoothness_pct: np.ndarray) -> np.ndarray:
    """Each bin's smoothness over the median of its session, shape (n, BINS), NaN if not known.

    The logger's noise and the number of passes raise all bins alike, so the ratio leaves them out.
    """
    known = np.isfinite(smoothness_pct).sum(axis=1) >= LEAST_BINS
    out = np.full(smoothness_pct.shape, np.nan, dtype=np.float32)
    if known.any():
        middle = np.nanmedian(smoothness_pct[known], axis=1, keepdims=True)
        with np.errstate(divide="ignore", invalid="ignore"):
            ratio = np.where(middle > 0.0, smoothness_pct[known] / middle, np.nan)
        out[known] = np.clip(ratio, 1.0 / GREATEST_ROUGHNESS, GREATEST_ROUGHNESS)
    return out


def _places(tests: pd.DataFrame, bins: pd.DataFrame, there: np.ndarray) -> np.ndarray:
    """Where bins lie among all of all tests; marks in ``there`` that they are."""
    edge = bins["bin_from_pct"].to_numpy()
    column = np.round(edge / BIN_PCT).astype(int)
    off = (np.abs(column * BIN_PCT - edge) > 1e-6) | (column < 0) | (column >= BINS)
    if off.any():
        raise WearError(f"wear_bins: bin_from_pct {edge[off][0]:g}, expected 0, 2, … or 98")
    row = bins["test_no"].to_numpy(dtype=int)
    place, marks = row * BINS + column, there.ravel()
    before, known = marks[place], np.count_nonzero(marks)
    marks[place] = True
    if np.count_nonzero(marks) < known + len(place):
        again = int(np.argmax(before | pd.Series(place).duplicated().to_numpy()))
        session = tests["session_id"].iloc[row[again]]
        raise WearError(f"wear_bins: session {session} has bin {edge[again]:g} twice")
    return place


def _digest(told: tuple, *shown: np.ndarray) -> str:
    digest = hashlib.blake2b(repr(told).encode(), digest_size=16)
    for values in shown:
        digest.update(values)
    return digest.hexdigest()
