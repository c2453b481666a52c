"""Tests and their travel bins as arrays: a row a test, a column a bin."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import pandas as pd

from models.wear.exposure import BIN_PCT, BINS, exposure
from models.wear.groups import text
from models.wear.schemas import WEAR_BINS, WEAR_TESTS

LEAST_BINS = 15  # a session with fewer readable bins has no median to hold a bin against
GREATEST_ROUGHNESS = 8.0  # beyond this a bin says no more: a lift-off, not grain


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

    @classmethod
    def joined(cls, parts: Sequence[WearRecords]) -> WearRecords:
        """The tests of all parts, at least one, in their order."""
        tests = pd.concat([part.tests for part in parts], ignore_index=True)
        arrays = (
            np.concatenate([getattr(part, name) for part in parts])
            for name in ("counts", "exposure", "roughness")
        )
        return cls(tests, *arrays)

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
    tests = WEAR_TESTS.check(tests).reset_index(drop=True)
    bins = WEAR_BINS.check(bins)
    row, column = _places(tests, bins)
    speed = tests["speed_pct_per_s"].to_numpy()
    passes = _laid(bins["pass_count"], row, column, len(tests), 0.0)
    interval = _laid(bins["shortest_visible_ms"], row, column, len(tests), np.nan)
    seen = exposure(passes, interval, speed[:, None])
    counts = _laid(bins["dropout_count"], row, column, len(tests), 0.0)
    lead = (tests["fault_nature"] == "wandering").fillna(False).to_numpy(dtype=bool)
    seen[lead] = 0.0
    counts[seen <= 0.0] = 0.0
    height = _laid(bins["smoothness_pct"], row, column, len(tests), np.nan)
    return WearRecords(tests, counts, seen.astype(np.float32), roughness_of(height))


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


def _places(tests: pd.DataFrame, bins: pd.DataFrame) -> tuple[np.ndarray, np.ndarray]:
    names = pd.Index(tests["session_id"])
    if not names.is_unique:
        raise WearError(f"wear_tests: session {names[names.duplicated()][0]} comes twice")
    row = names.get_indexer(bins["session_id"])
    if (row < 0).any():
        raise WearError(f"wear_bins: no test {bins['session_id'].iloc[int(np.argmin(row))]}")
    edge = bins["bin_from_pct"].to_numpy()
    column = np.round(edge / BIN_PCT).astype(int)
    off = (np.abs(column * BIN_PCT - edge) > 1e-6) | (column < 0) | (column >= BINS)
    if off.any():
        raise WearError(f"wear_bins: bin_from_pct {edge[off][0]:g}, expected 0, 2, … or 98")
    place = row * BINS + column
    if np.bincount(place, minlength=1).max(initial=0) > 1:
        again = int(np.argmax(pd.Series(place).duplicated().to_numpy()))
        raise WearError(
            f"wear_bins: session {bins['session_id'].iloc[again]} has bin {edge[again]:g} twice"
        )
    return row, column


def _digest(told: tuple, *shown: np.ndarray) -> str:
    digest = hashlib.blake2b(repr(told).encode(), digest_size=16)
    for values in shown:
        digest.update(values)
    return digest.hexdigest()


def _laid(
    values: pd.Series, row: np.ndarray, column: np.ndarray, tests: int, fill: float
) -> np.ndarray:
    out = np.full((tests, BINS), fill, dtype=np.float32)
    out[row, column] = values.to_numpy(dtype=np.float32, na_value=np.nan)
    return out
