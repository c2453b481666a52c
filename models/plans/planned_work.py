"""The work planned for each sensor: what is advised now, else what costs least later."""

from __future__ import annotations

import numpy as np
import pandas as pd

from models.plans.schemas import CHEAPEST, PLANNED_WORK
from models.plans.settings import PlanSettings

#: What each advice asks to be done now; a sensor that too little is known of is tested.
NOW = {"replace": "replace", "test": "test", "not_enough_known": "test"}


#: Why work is owed now.
ADVISED, NOT_KNOWN = "advised", "not_known"
#: The owner's word for letting private bikes wait of which not enough is known.
_WAIT = "wait"


def planned_work(
    costs: pd.DataFrame, action: pd.Series, waiting: frozenset[str] = frozenset()
) -> pd.DataFrame:
    """The work and its day, in the columns of ``PLANNED_WORK`` and the order of ``costs``.

    Parameters
    ----------
    costs : frame of shape (n, ...)
        CHEAPEST.
    action : series, indexed by sensor
        What is advised.
    waiting : set of str
        Sensors that wait until their bike comes (``waiting_private``).
    """
    table = CHEAPEST.check(costs)
    sensor = table["sensor_id"]
    advised = sensor.map(action)
    now = advised.map(NOW).where(~sensor.isin(waiting))
    days = np.where(now.notna(), 0.0, table["next_days"])
    work = now.where(now.notna(), table["next_work"])
    due = work.notna() & (days == 0) & ~sensor.isin(waiting)
    reason = np.where(advised.eq("not_enough_known"), NOT_KNOWN, ADVISED)
    return PLANNED_WORK.check(
        pd.DataFrame(
            {
                "sensor_id": sensor,
                "work": work,
                "work_days": days,
                "owed_for": pd.Series(reason, index=table.index, dtype=object).where(due, None),
            }
        )
    )


def waiting_private(
    sensors: pd.DataFrame, action: pd.Series, settings: PlanSettings
) -> frozenset[str]:
    """Sensors of private bikes too little known, where the owner lets them wait.

    Parameters
    ----------
    sensors : frame of shape (n, ...)
        ``sensor_id`` and ``fleet_id``, blank for a private bike.
    action : series, indexed by sensor
        What is advised.
    settings : PlanSettings
        With ``private_not_known``.
    """
    if settings.private_not_known != _WAIT:
        return frozenset()
    private = sensors["fleet_id"].isna() | sensors["fleet_id"].eq("")
    not_known = sensors["sensor_id"].map(action).eq("not_enough_known")
    return frozenset(sensors.loc[private & not_known, "sensor_id"])


def owed_now(work: pd.DataFrame) -> pd.DataFrame:
    """Sensors whose work is to be done now, and why: CHECK_OWED; ``work`` is PLANNED_WORK."""
    return work.loc[work["owed_for"].notna(), ["sensor_id", "owed_for"]]
