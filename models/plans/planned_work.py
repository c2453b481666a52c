"""The work planned for each sensor: what is advised now, else what costs least later."""

from __future__ import annotations

import numpy as np
import pandas as pd

from models.plans.schemas import CHEAPEST, PLANNED_WORK

#: What each advice asks to be done now; a sensor that too little is known of is tested.
_NOW = {"replace": "replace", "test": "test", "not_enough_known": "test"}


def planned_work(costs: pd.DataFrame, action: pd.Series) -> pd.DataFrame:
    """The work and its day, in the columns of ``PLANNED_WORK`` and the order of ``costs``.

    Parameters
    ----------
    costs : frame of shape (n, ...)
        CHEAPEST.
    action : series, indexed by sensor
        What is advised.
    """
    table = CHEAPEST.check(costs)
    now = table["sensor_id"].map(action).map(_NOW)
    return PLANNED_WORK.check(
        pd.DataFrame(
            {
                "sensor_id": table["sensor_id"],
                "work": now.where(now.notna(), table["next_work"]),
                "work_days": np.where(now.notna(), 0.0, table["next_days"]),
            }
        )
    )


def owed_now(work: pd.DataFrame) -> pd.DataFrame:
    """Sensors whose work is to be done now, one column ``sensor_id``; ``work`` PLANNED_WORK."""
    return work.loc[work["work"].notna() & work["work_days"].eq(0), ["sensor_id"]]
