"""Matrix products in which a row comes out the same whatever rows stand beside it.

A library sums a product in another order for another number of rows, and on some processors for
another place among them, which moves the last digits. What is known of one life would then hang on
which lives are worked out with it, and could not be remembered. So it is always asked for the same
number of rows, so few that each place gives the same on the processor at hand.
"""

from __future__ import annotations

from functools import cache

import numpy as np

#: Rows at a time, the most first: tried out once for each shape and kind of product.
ROWS_AT_ONCE = (80, 48, 32, 16, 8, 4, 2, 1)
_TRIALS = 4


def by_row(rows: np.ndarray, other: np.ndarray) -> np.ndarray:
    """``rows @ other``, row by row the same for any choice and order of rows.

    Parameters
    ----------
    rows : array of shape (n, k)
        A row for each of what is asked about.
    other : array of shape (k, m) or (k,)
        The same for all rows.
    """
    if other.ndim == 1:
        return (rows * other).sum(axis=1)
    size = rows_at_once(*other.shape, np.result_type(rows, other).char)
    n, turns = len(rows), -(-len(rows) // size)
    if turns * size != n:
        whole = np.zeros((turns * size, rows.shape[1]), rows.dtype)
        whole[:n] = rows
        rows = whole
    blocks = np.ascontiguousarray(rows).reshape(turns, size, other.shape[0])
    # as it lies in memory decides, too, in which order sums are taken
    return (blocks @ np.ascontiguousarray(other)).reshape(-1, other.shape[1])[:n]


@cache
def rows_at_once(k: int, m: int, kind: str) -> int:
    """The most rows of those offered that give the same at each place, by trial on equal rows."""
    rng = np.random.default_rng(k * m)
    trials = [
        (rng.standard_normal(k).astype(kind), rng.standard_normal((k, m)).astype(kind))
        for _ in range(_TRIALS)
    ]
    return next(size for size in ROWS_AT_ONCE if all(_same(size, *trial) for trial in trials))


def _same(size: int, row: np.ndarray, other: np.ndarray) -> bool:
    found = np.broadcast_to(row, (2, size, len(row))).copy() @ other
    return bool((found == found[:1, :1]).all())
