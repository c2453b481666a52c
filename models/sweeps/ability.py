"""What a sweep could have missed: the sampling theorem's plain side.

A drop-out is sure to leave a sample in it when it lasts at least one sampling interval. A worn
patch is sure to be met on one pass when it is at least as wide as the travel moved meanwhile.
"""

from __future__ import annotations

import numpy as np


def shortest_visible_ms(step_s: np.ndarray | float) -> np.ndarray:
    """Shortest drop-out that is sure to hold a sample, ms."""
    return 1000.0 * np.asarray(step_s, dtype=float)


def narrowest_visible_pct(step_s: np.ndarray | float, speed_pct_per_s: np.ndarray | float):
    """Narrowest worn patch that is sure to hold a sample on one pass, % of travel."""
    return np.asarray(step_s, dtype=float) * np.asarray(speed_pct_per_s, dtype=float)
