"""Worn-band measures of each test of a life, for the risk model."""

from __future__ import annotations

import numpy as np
import pandas as pd

from models.wear.records import WearRecords
from models.wear.schemas import WEAR_MEASURES

LEAST_KM = 200.0  # growth over fewer km is not told from the error of the tests


def wear_measures(
    bands: pd.DataFrame, records: WearRecords, pooled: np.ndarray, stray_rate: float
) -> pd.DataFrame:
    """What was known of each life's worn band at each of its tests; nothing later is used.

    Parameters
    ----------
    bands : frame of ``BANDS``
        ``WornBands.predict`` on ``records``.
    records : WearRecords
        The same tests.
    pooled : array of shape (n, BINS)
        Pooled intensity of wear at each test.
    stray_rate : float
        Drop-outs a pass and bin that are no wear.

    Returns
    -------
    Frame of ``WEAR_MEASURES``, a row a test. The pooled curve and the learnt chances of strength
    rest on all tests; a back-test must fit them on the tests before its cut.
    """
    first = bands[bands["band_no"] == 1].set_index("session_id")
    first = first.reindex(records.tests["session_id"])
    chance, level = first["confidence"].to_numpy(), first["level"].to_numpy()
    out = pd.DataFrame(
        {
            "life_id": records.tests["life_id"].to_numpy(),
            "session_id": records.tests["session_id"].to_numpy(),
            "sensor_age_km": records.tests["sensor_age_km"].to_numpy(),
            "band_chance": chance,
            "band_level": chance * level,
            "band_width_pct": (first["to_pct"] - first["from_pct"]).to_numpy(),
            "band_roughening": chance * first["roughening"].clip(lower=0.0).to_numpy(),
            "band_peak_pct": first["peak_pct"].to_numpy(),
            "excess_over_pooled": chance * _excess(level, pooled, stray_rate),
        }
    )
    out["band_level_per_1000km"] = _growth(out)
    return WEAR_MEASURES.check(out)


def _excess(level: np.ndarray, pooled: np.ndarray, stray_rate: float) -> np.ndarray:
    """Log of a band's drop-outs a pass over those of its like on the whole travel, 0 or more."""
    like = pooled.sum(axis=1) + pooled.shape[1] * max(stray_rate, 1e-6)
    return np.log1p(level / like)


def _growth(measures: pd.DataFrame) -> pd.Series:
    ordered = measures.sort_values(["life_id", "sensor_age_km"], kind="stable")
    step = ordered.groupby("life_id")[["band_level", "sensor_age_km"]].diff()
    km = step["sensor_age_km"].where(step["sensor_age_km"] >= LEAST_KM)
    return (1000.0 * step["band_level"] / km).reindex(measures.index)
