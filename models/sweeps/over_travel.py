"""A sweep's passes laid over the travel, for drawing: output against position, pass by pass.

Where a channel knows the position, that is taken. Without, the output itself is read back: its
running median, drop-outs left out, between the stops. Only what departs from that within a
fraction of a second shows then; a bow of the whole track does not.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from models.frames import Column, FrameSchema
from models.sweeps.decimate import decimate_minmax

MEDIAN_S = 0.05  # longer than the grain of a slow pass, short beside the pass itself
LEAST_MEDIAN = 5  # samples
LEAST_A_PASS = 40  # points drawn of a pass, however many passes there are
CHANNEL_SHARE = 0.9  # a position channel is used where it reads in this share of the samples

OVER_TRAVEL = FrameSchema(
    "over_travel",
    "one sample drawn of one pass (min-max decimated: every extreme of the pass is kept)",
    (
        Column("pass_no", "whole", "the pass, in order of time, from 1"),
        Column("direction", "text", "opening or closing"),
        Column("travel_pct", "number", "position", "% of travel"),
        Column("output_pct", "number", "output", "% of applied"),
    ),
)


def lay_over_travel(
    samples: pd.DataFrame,
    passes: pd.DataFrame,
    dropouts: pd.DataFrame,
    *,
    applied: float,
    closed_output: float,
    open_output: float,
    n_points: int = 4_000,
) -> pd.DataFrame:
    """Output over travel of each pass.

    Parameters
    ----------
    samples : DataFrame
        t_s, signal and travel_pct (NaN where not recorded) of one sweep.
    passes, dropouts : DataFrame
        PASSES and DROPOUTS of ``models.sweeps.schemas``.
    applied : float
        What 100 % of applied is in the channel's unit.
    closed_output, open_output : float
        Output at the stops, the channel's unit; used where no channel knows the position.
    n_points : int
        About how many points in all; no pass gets fewer than ``LEAST_A_PASS``.

    Returns
    -------
    frame of ``OVER_TRAVEL``; empty where no pass was found or the position is not known.
    """
    usable = samples[np.isfinite(samples["t_s"]) & np.isfinite(samples["signal"])]
    usable = usable.sort_values("t_s", kind="stable")
    t_s, signal = usable["t_s"].to_numpy(float), usable["signal"].to_numpy(float)
    travel = _recorded(usable["travel_pct"].to_numpy(float))
    if travel is None:
        travel = _estimated(t_s, signal, dropouts, closed_output, open_output)
    if passes.empty or not t_s.size or not np.isfinite(travel).any() or not np.isfinite(applied):
        return OVER_TRAVEL.empty()
    points = max(LEAST_A_PASS, n_points // len(passes))
    drawn = []
    for row in passes.to_dict("records"):
        first, last = np.searchsorted(t_s, [row["start_s"], row["end_s"]])
        part = first + decimate_minmax(t_s[first:last], signal[first:last], points)
        drawn.append(
            pd.DataFrame(
                {
                    "pass_no": row["pass_no"],
                    "direction": row["direction"],
                    "travel_pct": travel[part],
                    "output_pct": 100.0 * signal[part] / applied,
                }
            )
        )
    return OVER_TRAVEL.check(pd.concat(drawn, ignore_index=True).dropna(ignore_index=True))


def _recorded(travel_pct: np.ndarray) -> np.ndarray | None:
    """The position channel, gaps filled in between; None where it reads too seldom."""
    known = np.flatnonzero(np.isfinite(travel_pct))
    if known.size <= CHANNEL_SHARE * travel_pct.size:
        return None
    filled = np.interp(np.arange(travel_pct.size), known, travel_pct[known])
    return np.clip(filled, 0.0, 100.0)


def _estimated(
    t_s: np.ndarray,
    signal: np.ndarray,
    dropouts: pd.DataFrame,
    closed_output: float,
    open_output: float,
) -> np.ndarray:
    """Position from the running median of the output, drop-outs left out, % of travel."""
    span = open_output - closed_output
    if not np.isfinite(span) or span == 0 or t_s.size < LEAST_MEDIAN:
        return np.full(t_s.size, np.nan)
    step_s = float(np.median(np.diff(t_s)))
    sound = np.array(signal)
    for start_s, length_s in dropouts[["start_s", "length_s"]].to_numpy(float):
        first, last = np.searchsorted(t_s, [start_s - step_s, start_s + length_s + step_s])
        sound[first:last] = np.nan
    window = max(LEAST_MEDIAN, round(MEDIAN_S / step_s) if step_s > 0 else LEAST_MEDIAN)
    level = (
        pd.Series(sound)
        .interpolate(limit_direction="both")
        .rolling(window | 1, center=True, min_periods=1)
        .median()
    )
    return np.clip(100.0 * (level.to_numpy() - closed_output) / span, 0.0, 100.0)
