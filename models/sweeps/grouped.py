"""Figures per group of values laid one behind the other, groups possibly empty."""

from __future__ import annotations

import numpy as np


def group_starts(group: np.ndarray, groups: int) -> np.ndarray:
    """Where each group begins in ascending group numbers, with the end: shape (groups + 1,)."""
    return np.searchsorted(group, np.arange(groups + 1))


def group_reduce(
    reduce: np.ufunc, values: np.ndarray, starts: np.ndarray, empty: float = np.nan
) -> np.ndarray:
    """``reduce`` over each group; ``empty`` for a group without values."""
    out = np.full(starts.size - 1, empty, dtype=np.result_type(values.dtype, type(empty)))
    filled = np.flatnonzero(np.diff(starts) > 0)
    if filled.size:
        out[filled] = reduce.reduceat(values, starts[filled])
    return out


def group_table(values: np.ndarray, starts: np.ndarray) -> np.ndarray:
    """Groups as rows, ascending, filled up with NaN: shape (groups, longest)."""
    sizes = np.diff(starts)
    table = np.full((sizes.size, max(int(sizes.max(initial=0)), 1)), np.nan)
    row = np.repeat(np.arange(sizes.size), sizes)
    table[row, np.arange(values.size) - starts[row]] = values
    table.sort(axis=1)
    return table


def group_median(values: np.ndarray, starts: np.ndarray) -> np.ndarray:
    """Median of each group, NaN where it is empty or holds only NaN."""
    table = group_table(values, starts)
    known = np.isfinite(table).sum(axis=1)
    rows = np.arange(table.shape[0])
    low, high = np.maximum(known - 1, 0) // 2, known // 2
    high = np.minimum(high, table.shape[1] - 1)
    return np.where(known > 0, 0.5 * (table[rows, low] + table[rows, high]), np.nan)
