"""How many defects let the rider down: counted apart, never mixed into the chance of a defect."""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd
from scipy import stats


@dataclass(frozen=True)
class RoadShare:
    """Road failures among defects, with a 90 % interval of the share (blank without defects)."""

    n_defects: int
    n_road_failures: int
    share: float | None
    share_low: float | None
    share_high: float | None


def road_failure_share(windows: pd.DataFrame, *, level: float = 0.9) -> RoadShare:
    """Share of defects that became road failures, with Jeffreys' interval.

    The interval is that of Brown, Cai & DasGupta, Statistical Science 16 (2001) 101, eq. 6, with
    its ends set to 0 or 1 where no defect, or every defect, was a road failure.

    Parameters
    ----------
    windows : frame of shape (lives, ...)
        Columns of ``LIFE_WINDOWS``.
    level : float
        Chance that the interval is meant to hold.
    """
    with_defect = windows[windows["bad_km"].notna()]
    n = len(with_defect)
    hits = int(with_defect["road_failure"].astype("boolean").fillna(False).sum())
    if n == 0:
        return RoadShare(0, 0, None, None, None)
    tail = (1 - level) / 2
    spread = stats.beta(hits + 0.5, n - hits + 0.5)
    low = 0.0 if hits == 0 else float(spread.ppf(tail))
    high = 1.0 if hits == n else float(spread.ppf(1 - tail))
    return RoadShare(n, hits, hits / n, low, high)
