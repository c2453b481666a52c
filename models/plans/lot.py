"""Draw by lot a few of the sensors that may be left, to be tested all the same.

Advice destroys its own evidence: where only suspect sensors are tested, nothing shows how many of
those left had the defect. The lot is a digest of the sensor's number and the quarter, so that it
stands for the whole quarter and nobody chooses.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable
from datetime import date

import numpy as np
import pandas as pd

_PARTS = 2**32


def drawn_by_lot(
    sensor_ids: Iterable[str], last_tested_on: Iterable[object], day: date, share: float
) -> frozenset[str]:
    """Sensors drawn in the quarter of ``day``, each with the chance ``share``.

    One tested in this quarter already is not drawn.

    Parameters
    ----------
    sensor_ids : iterable of str
        Sensors in service.
    last_tested_on : iterable of date or blank
        Day of each one's last test.
    day : date
        The as-of day.
    share : float
        Chance of being drawn, 0 to 1.
    """
    lots = drawn_lots(sensor_ids, last_tested_on, day)
    return frozenset(lots.index[lots < share])


def drawn_lots(sensor_ids: Iterable[str], last_tested_on: Iterable[object], day: date) -> pd.Series:
    """Each sensor's lot, 0 to 1, by sensor; blank for one tested in this quarter already.

    Parameters as of ``drawn_by_lot``.
    """
    quarter, ids = _quarter(day), list(sensor_ids)
    # a blank lies in no quarter
    told = last_tested_on if isinstance(last_tested_on, pd.Series) else [*last_tested_on]
    tested = pd.to_datetime(pd.Series(told)).dt
    drawn = ~((tested.year == day.year) & (tested.quarter == (day.month - 1) // 3 + 1))
    lots = [
        _lot(sensor, quarter) if may else np.nan
        for sensor, may in zip(ids, drawn.tolist(), strict=True)
    ]
    return pd.Series(lots, index=pd.Index(ids, dtype="str"), dtype=float)


def _quarter(day: date) -> str:
    return f"{day.year}/{(day.month - 1) // 3 + 1}"


def _lot(sensor_id: str, quarter: str) -> float:
    """A number from 0 to 1 that looks like chance and stays the same all quarter."""
    digest = hashlib.sha256(f"{quarter}/{sensor_id}".encode()).digest()
    return int.from_bytes(digest[:4], "big") / _PARTS
