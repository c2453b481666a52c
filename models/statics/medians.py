"""Medians of many groups at once."""

from __future__ import annotations

import numpy as np


def medians(group: np.ndarray, value: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Median of the values of each group.

    Parameters
    ----------
    group : array of int, shape (n,)
        Of each value, in any order.
    value : array of shape (n,)
        Finite.

    Returns
    -------
    Groups that occur, rising, and the median of each: of an even count the mean of the middle two.
    """
    order = np.argsort(group, kind="stable")
    group, value = group[order], value[order]
    first = np.flatnonzero(np.diff(group, prepend=group[:1] - 1))
    count = np.diff(np.append(first, len(group)))
    middle = np.empty(len(first))
    for many in np.unique(count):  # groups of one size are sorted together
        own = np.flatnonzero(count == many)
        values = np.sort(value[first[own, None] + np.arange(many)], axis=1)
        middle[own] = (values[:, (many - 1) // 2] + values[:, many // 2]) / 2
    return group[first], middle
