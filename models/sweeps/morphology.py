"""Grey closing and opening along a sweep, fast on plain numpy arrays.

Serra, Image Analysis and Mathematical Morphology (1982): a closing fills every valley narrower
than its window and leaves the rest; an opening cuts every peak narrower than it.
"""

from __future__ import annotations

import numpy as np


def running_extreme(a: np.ndarray, window: int, extreme: np.ufunc) -> np.ndarray:
    """Extreme of each full window, length n - window + 1, by doubling the span.

    log2(window) passes of one vector instruction each, which beats a queue per sample.
    """
    out, span = a, 1
    while span * 2 <= window:
        out = extreme(out[:-span], out[span:])
        span *= 2
    rest = window - span
    return extreme(out[:-rest], out[rest:]) if rest else out


def closing(padded: np.ndarray, window: int) -> np.ndarray:
    """Grey closing of the inner samples; ``padded`` carries window - 1 samples on either side."""
    return running_extreme(running_extreme(padded, window, np.maximum), window, np.minimum)


def opening(padded: np.ndarray, window: int) -> np.ndarray:
    """Grey opening of the inner samples; ``padded`` carries window - 1 samples on either side."""
    return running_extreme(running_extreme(padded, window, np.minimum), window, np.maximum)


def pad_segments(
    y: np.ndarray, bounds: np.ndarray, chosen: np.ndarray, margin: int
) -> tuple[np.ndarray, np.ndarray]:
    """Lay chosen segments one behind the other, their end values repeated ``margin`` times.

    Returns the padded array and each segment's start in it. A dip cut off by the record's own
    end is not filled: it cannot be told from a hand that moved.
    """
    sizes = bounds[chosen + 1] - bounds[chosen]
    starts = margin + np.cumsum(sizes + 2 * margin) - (sizes + 2 * margin)
    out = np.empty(int(sizes.sum()) + 2 * margin * chosen.size, dtype=y.dtype)
    for place, begin, size in zip(starts, bounds[chosen], sizes, strict=True):
        out[place : place + size] = y[begin : begin + size]
        out[place - margin : place] = y[begin]
        out[place + size : place + size + margin] = y[begin + size - 1]
    return out, starts
