"""Min-max decimation for drawing: fewer points, every drop-out still on the picture."""

from __future__ import annotations

import numpy as np


def decimate_minmax(t: np.ndarray, y: np.ndarray, n_points: int) -> np.ndarray:
    """Indices of the samples to draw: each bucket's lowest and highest, the first and the last.

    A line through every k-th sample may step over a one-sample dip; a line through each bucket's
    minimum and maximum cannot. Gaps stay visible: the samples on both sides of an unreadable one
    are kept where they are a bucket's extremes, and unreadable samples are never drawn.

    Parameters
    ----------
    t, y : arrays of length n
        Times in seconds and readings. Samples where either is NaN or infinite are left out.
    n_points : int
        About how many points to keep; at least 4. With n or more, all readable samples are kept.

    Returns
    -------
    indices : int array, ascending, without repeats; at most ``n_points + 2`` long.

    Raises
    ------
    ValueError
        t and y differ in length, or n_points is below 4.
    """
    t, y = np.asarray(t, dtype=float), np.asarray(y, dtype=float)
    if t.shape != y.shape or t.ndim != 1:
        raise ValueError(f"t and y must be one-dimensional and alike, got {t.shape} and {y.shape}")
    if n_points < 4:
        raise ValueError(f"n_points must be at least 4, got {n_points}")
    readable = np.flatnonzero(np.isfinite(t) & np.isfinite(y))
    if readable.size <= n_points:
        return readable
    starts = _bucket_starts(readable.size, n_points // 2)
    values = y[readable]
    places = np.concatenate(
        [_first_at(values, starts, np.minimum), _first_at(values, starts, np.maximum)]
    )
    places = np.concatenate([places, [0, readable.size - 1]])
    return readable[np.unique(places)]


def _bucket_starts(n: int, buckets: int) -> np.ndarray:
    return np.unique(np.arange(buckets) * n // buckets)


def _first_at(values: np.ndarray, starts: np.ndarray, extreme: np.ufunc) -> np.ndarray:
    """Place of the first sample in each bucket that equals the bucket's extreme."""
    sizes = np.diff(np.append(starts, values.size))
    hits = np.flatnonzero(values == np.repeat(extreme.reduceat(values, starts), sizes))
    bucket = np.repeat(np.arange(starts.size), sizes)[hits]
    return hits[np.unique(bucket, return_index=True)[1]]
