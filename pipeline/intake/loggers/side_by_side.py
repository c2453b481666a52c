"""Channels with times of their own, laid beside the signal without making values up."""

from __future__ import annotations

import numpy as np
import pandas as pd

from pipeline.intake.loggers.recording import LogError, median_step_s

#: Shifts below this are the last digits of times.
LEAST_SHIFT_S = 1e-6
Series = tuple[np.ndarray, np.ndarray]


def sweep_frame(series: dict[str, Series]) -> tuple[pd.DataFrame, tuple[str, ...]]:
    """A sweep's samples, one for each of the signal's, and what was shifted by how much.

    Parameters
    ----------
    series : dict
        ``signal`` and any of ``signal_b`` and ``travel_pct``: times in seconds, and values.

    Raises
    ------
    LogError
        The signal has no sample.
    """
    t_s, signal = series["signal"]
    if not t_s.size:
        raise LogError("the channel chosen for the signal holds no sample")
    columns, facts = {"t_s": np.round(t_s - t_s[0], 9), "signal": signal}, []
    for name in ("signal_b", "travel_pct"):
        if name in series:
            columns[name], shift_s, left = beside(t_s, *series[name])
            facts += _told(name, shift_s, left)
    return pd.DataFrame(columns), tuple(facts)


def beside(
    t_s: np.ndarray, other_s: np.ndarray, other: np.ndarray
) -> tuple[np.ndarray, float, int]:
    """Another channel's values at the signal's samples, blank where none is near.

    Each stands at the sample nearest to it in time, if that is no farther than half the signal's
    usual step; of several at one sample the nearest stands.

    Returns
    -------
    tuple
        Values, shape of ``t_s``; the greatest shift, s; how many values found no place.
    """
    placed = np.full(t_s.size, np.nan)
    if np.array_equal(t_s, other_s):
        return other.astype(float), 0.0, 0
    reach_s = 0.5 * (median_step_s(t_s) or 0.0)
    order = np.argsort(t_s, kind="stable")
    after = np.searchsorted(t_s[order], other_s)
    left, right = np.clip(after - 1, 0, t_s.size - 1), np.clip(after, 0, t_s.size - 1)
    off_left, off_right = (np.abs(other_s - t_s[order[side]]) for side in (left, right))
    near = order[np.where(off_left <= off_right, left, right)]
    off = np.minimum(off_left, off_right)
    fit = np.flatnonzero(off <= reach_s + 1e-9)
    first = fit[np.lexsort((off[fit], near[fit]))]
    keep = first[np.unique(near[first], return_index=True)[1]]
    placed[near[keep]] = other[keep]
    shift_s = float(off[keep].max()) if keep.size else 0.0
    return placed, shift_s, int(other_s.size - keep.size)


def _told(name: str, shift_s: float, left: int) -> list[str]:
    what = "second track" if name == "signal_b" else "travel"
    said = []
    if shift_s > LEAST_SHIFT_S:
        said.append(
            f"The {what} was read at times of its own: each of its readings stands beside the "
            f"signal's nearest one, up to {1000 * shift_s:.3g} ms off."
        )
    if left:
        said.append(
            f"{left:,} readings of the {what} lie beside no reading of the signal and are left out."
        )
    return said
