"""How much a sweep could have shown of each travel bin: an unseen bin is not a clean bin.

A drop-out shows when a sample falls into it. Drop-outs last about as long as the wiper takes over
the damage, so a slower pass makes them longer; their lengths at slow hand speed are taken to be
spread evenly over the logarithm from 1 to 30 ms (assumed, as in the simulated track).
"""

from __future__ import annotations

import numpy as np

BINS = 50  # travel bins, 2 % each
BIN_PCT = 100.0 / BINS
LENGTH_MS = (1.0, 30.0)  # shortest and longest drop-out at slow speed (assumed)
SLOW_PCT_PER_S = 30.0  # the hand's slow speed at which these lengths hold (assumed)


def bin_middles() -> np.ndarray:
    """Middle of each travel bin, %, shape (BINS,)."""
    return (np.arange(BINS) + 0.5) * BIN_PCT


def shown_share(
    interval_ms: np.ndarray | float,
    speed_pct_per_s: np.ndarray | float = SLOW_PCT_PER_S,
    length_ms: tuple[float, float] = LENGTH_MS,
) -> np.ndarray:
    """Share of drop-outs in which at least one sample falls, 0 to 1.

    Parameters
    ----------
    interval_ms : array or float
        Sampling interval.
    speed_pct_per_s : array or float
        Speed of the pass, % of travel a second; NaN counts as the slow speed.
    length_ms : pair of float
        Limits of the lengths at slow speed, log-uniform between.

    Notes
    -----
    The mean of min(1, length / interval) over the lengths: a drop-out holds a sample with that
    chance when sampling is even and its start falls anywhere.
    """
    interval = np.asarray(interval_ms, dtype=float)
    speed = np.nan_to_num(np.asarray(speed_pct_per_s, dtype=float), nan=SLOW_PCT_PER_S)
    slowing = SLOW_PCT_PER_S / np.maximum(speed, 0.1)
    low, high = length_ms[0] * slowing, length_ms[1] * slowing
    middle = np.clip(interval, low, high)
    partly = (middle - low) / np.maximum(interval, 1e-12)
    share = (partly + np.log(high / middle)) / np.log(length_ms[1] / length_ms[0])
    return np.where(np.isfinite(interval), np.where(interval <= low, 1.0, share), 0.0)


def exposure(
    pass_count: np.ndarray,
    shortest_visible_ms: np.ndarray,
    speed_pct_per_s: np.ndarray | float = SLOW_PCT_PER_S,
) -> np.ndarray:
    """Passes that would have shown a drop-out had there been one on each: passes times shown share.

    Parameters
    ----------
    pass_count : array
        Passes that crossed each bin; 0 (not crossed) gives 0.
    shortest_visible_ms : array
        The sampling interval there, ms; NaN gives 0.
    speed_pct_per_s : array
        Speed of the passes.
    """
    passes = np.nan_to_num(np.asarray(pass_count, dtype=float))
    return passes * shown_share(shortest_visible_ms, speed_pct_per_s)
