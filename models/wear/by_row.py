"""Matrix products in which a row comes out the same whatever rows stand beside it.

A library sums a product in another order for another number of rows, which moves the last digits.
What is known of one life would then hang on which lives are worked out with it, and could not be
remembered. So it is always asked for the same number of rows.
"""

from __future__ import annotations

import numpy as np

ROWS_AT_ONCE = 80


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
    n, turns = len(rows), -(-len(rows) // ROWS_AT_ONCE)
    if turns * ROWS_AT_ONCE != n:
        whole = np.zeros((turns * ROWS_AT_ONCE, rows.shape[1]), rows.dtype)
        whole[:n] = rows
        rows = whole
    blocks = np.ascontiguousarray(rows).reshape(turns, ROWS_AT_ONCE, other.shape[0])
    return (blocks @ other).reshape(-1, other.shape[1])[:n]
