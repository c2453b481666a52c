"""What a visit for preventive work would cost on each of the coming days."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pandas as pd

from models.plans.cheapest import Weighed
from models.plans.outlook import Outlook
from models.plans.policy import at_km
from models.plans.schemas import PLANNED_WORK
from models.plans.settings import PlanSettings

#: Sensors whose costs are told as rows at a time.
_AT_ONCE = 10_000


def check_days(weeks: int) -> np.ndarray:
    """Days ahead for which the cost of a visit is given: two a week, and one beyond the last."""
    week = 7 * np.arange(weeks + 1)
    return np.sort(np.append(week + 1, week[:-1] + 4))


def check_costs(
    outlook: Outlook, weighed: Weighed, work: pd.DataFrame, settings: PlanSettings
) -> pd.DataFrame:
    """Expected cost of a visit on each day, and of none in these weeks.

    A sensor advised to be replaced is replaced, one advised to be tested now is tested; others are
    tested or replaced, as is cheaper on the day.

    Parameters
    ----------
    outlook : Outlook
        Of all sensors in service.
    weighed : Weighed
        Its alternatives.
    work : frame
        PLANNED_WORK.
    settings : PlanSettings
        With the planning horizon and the weeks ahead.

    Returns
    -------
    frame of one row a sensor whose chances are known and day: ``sensor_id``, ``unit_id``,
    ``shop_id``, ``fleet_id``, ``part_no`` (of the part that would be fitted), ``action``, ``day``,
    ``cost`` and ``cost_without`` over the planning horizon, and ``part_needed``, the chance that
    the visit uses a part.
    """
    found, grid = weighed.found, check_days(settings.weeks_ahead)
    days = grid.astype(float)
    km = weighed.km_per_day[:, None] * days
    test, replace = at_km(found.test_at, km), at_km(found.replace_at, km)
    sensors = outlook.sensors.iloc[weighed.places]
    advised = PLANNED_WORK.check(work).set_index("sensor_id").loc[sensors["sensor_id"]]
    must, tests = (
        advised["work"].eq(work).fillna(False).to_numpy(bool)[:, None]
        for work in ("replace", "test")
    )
    tests = tests & advised["work_days"].eq(0).to_numpy(bool)[:, None]
    replaced = must | ((replace < test) & ~tests)
    usual = weighed.prices.usual_per_km * weighed.km_per_day * settings.planning_horizon_days
    without = at_km(found.best_at, km[:, -1:]) + usual[:, None]
    defect = _silent_defect(outlook, weighed.places, days)
    s, f = outlook.test
    finds = defect * s + (1 - defect) * f
    names = ["sensor_id", "unit_id", "shop_id", "fleet_id"]
    table = sensors[names].assign(part_no=sensors["new_part_no"])
    rows = table.loc[table.index.repeat(len(days))].reset_index(drop=True)
    return rows.assign(
        action=np.where(replaced, "replace", "test").reshape(-1),
        day=np.tile(grid, len(sensors)),
        cost=(np.where(replaced, replace, test) + usual[:, None]).reshape(-1),
        cost_without=np.broadcast_to(without, km.shape).reshape(-1),
        part_needed=np.where(replaced, 1.0, finds).reshape(-1),
    )


def check_costs_by_part(
    outlook: Outlook, weighed: Weighed, work: pd.DataFrame, settings: PlanSettings
) -> Iterator[pd.DataFrame]:
    """The same of some sensors at a time, for the memory; at least once.

    ``work`` is in the order of the outlook's sensors; parameters else are those of ``check_costs``.
    """
    for start in range(0, max(len(weighed.places), 1), _AT_ONCE):
        some = weighed.of(slice(start, start + _AT_ONCE))
        yield check_costs(outlook, some, work.iloc[some.places], settings)


def _silent_defect(outlook: Outlook, places: np.ndarray, days: np.ndarray) -> np.ndarray:
    """Chance of a defect by each day, given that nothing was heard of it; shape (n, days)."""
    if not len(places):
        return np.zeros((0, len(days)))
    defect, heard = outlook.by_days(places, 0)
    silent = np.maximum(defect - heard, 0.0) / np.maximum(1 - heard, 1e-9)
    low = np.clip(np.searchsorted(outlook.days, days, side="right") - 1, 0, len(outlook.days) - 2)
    share = (days - outlook.days[low]) / np.diff(outlook.days)[low]
    return silent[:, low] * (1 - share) + silent[:, low + 1] * share
