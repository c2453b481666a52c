"""Output smoothness straight from its definition, slow and plain: what the tables must agree with."""

from __future__ import annotations

import itertools

import numpy as np


def output_smoothness(
    travel_pct: np.ndarray, y: np.ndarray, window_pct: float = 1.0
) -> tuple[float, float]:
    """Output smoothness of one pass with known travel.

    The greatest peak-to-peak departure from the local (least-squares) line in any window of
    ``window_pct`` of travel, in the units of y; and the travel of that window's middle.
    NaN where no window holds five samples.
    """
    order = np.argsort(travel_pct, kind="stable")
    x, y = np.asarray(travel_pct, dtype=float)[order], np.asarray(y, dtype=float)[order]
    edges = np.arange(0.0, 100.0 + window_pct, window_pct)
    starts = np.searchsorted(x, edges - 1e-9)
    best, at = np.nan, np.nan
    for k, (a, b) in enumerate(itertools.pairwise(starts)):
        if b - a < 5 or x[b - 1] == x[a]:
            continue
        rest = _off_line(x[a:b], y[a:b])
        height = float(np.ptp(rest))
        if not height <= best:
            best, at = height, float(edges[k] + 0.5 * window_pct)
    return best, at


def _off_line(x: np.ndarray, y: np.ndarray) -> np.ndarray:
    """Departure from a line that one odd point does not pull: fitted again without the oddest."""
    rest = y - np.polyval(np.polyfit(x - x.mean(), y, 1), x - x.mean())
    calm = np.ones(x.size, dtype=bool)
    calm[np.argmax(np.abs(rest))] = False
    return y - np.polyval(np.polyfit(x[calm] - x.mean(), y[calm], 1), x - x.mean())
