"""The next sweep of each sensor: which stretches slowly, how fast at most, how many passes."""

from __future__ import annotations

import numpy as np
import pandas as pd

from models.wear.bands import SHOWN_FROM, WornBands, in_life_order
from models.wear.records import WearRecords
from models.wear.schemas import SWEEP_PLANS
from models.wear.test_plan import SURE, LiftChance, passes_needed, slow_stretches

YOUNG_WIDTH_PCT = 1.2  # width looked for where no band is known yet: the narrowest seen (assumed)


def sweep_plans(
    records: WearRecords,
    worn: WornBands,
    pooled: np.ndarray,
    found: pd.DataFrame,
    lift: LiftChance,
    rate_hz: float,
    sure: float = SURE,
) -> pd.DataFrame:
    """Plan of the next sweep for the life of every sensor, after its last test.

    Parameters
    ----------
    records : WearRecords
        All tests.
    worn : WornBands
        Fitted.
    pooled : array of shape (n, BINS)
        Pooled intensity of wear at each test.
    found : frame of ``BANDS``
        ``worn.predict`` on the same records.
    lift : LiftChance
        As learnt by ``lift_chance``.
    rate_hz : float
        Samples a second of the logger to be used.
    sure : float
        How sure the passes are to be.

    Returns
    -------
    Frame of ``SWEEP_PLANS``. A plan says how to look; it never says that what is not seen is sound.
    """
    order, last = in_life_order(records)
    # what earlier tests showed is in each row's memory, so it needs all of them
    share = worn.own_share(records, pooled)[order[last]]
    lives = records.tests["life_id"].iloc[order[last]].to_numpy()
    widths = _widths(found, lives)
    plans = {w: passes_needed(lift, w, rate_hz, sure=sure) for w in np.unique(widths)}
    rows = []
    for life, own, width in zip(lives, share, widths, strict=True):
        plan = plans[width]
        for number, (begin, end, held) in enumerate(slow_stretches(own), start=1):
            rows.append(
                (life, number, begin, end, held, width, plan.speed_pct_per_s,
                 plan.passes or None, plan.answer, plan.reached)
            )  # fmt: skip
    return SWEEP_PLANS.check(pd.DataFrame(rows, columns=SWEEP_PLANS.names))


def _widths(found: pd.DataFrame, lives: np.ndarray) -> np.ndarray:
    """Width to look for: half a known band's, since spots lie within, else the narrowest."""
    first = found[(found["band_no"] == 1) & (found["confidence"] >= SHOWN_FROM)]
    first = first.drop_duplicates("life_id", keep="last").set_index("life_id")
    width = 0.5 * (first["to_pct"] - first["from_pct"])
    known = width.reindex(lives).fillna(YOUNG_WIDTH_PCT).clip(lower=0.2)
    return np.round(known.to_numpy(dtype=float), 1)
