"""What each sensor's visit would save, day by day."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
import pandas as pd

from models.check_plan.settings import CheckSettings

_OF_SENSOR = ["sensor_id", "unit_id", "part_no", "cost_without"]


@dataclass(frozen=True)
class SensorGains:
    """Of each sensor, day by day.

    Attributes
    ----------
    sensors : frame of shape (n, ...)
        sensor_id, unit_id, part_no and cost_without, by bike and then sensor.
    days : array of int, shape (days,)
        Days from the as-of day.
    gain : array of shape (n, days)
        Expected cost without a visit less that with it; NaN where not known.
    replaces : array of bool, shape (n, days)
        The visit replaces the sensor; else it tests it.
    hours : array of shape (n, days)
        Bay hours of it.
    part_needed : array of shape (n, days)
        Chance that it uses a part.
    """

    sensors: pd.DataFrame
    days: np.ndarray
    gain: np.ndarray
    replaces: np.ndarray
    hours: np.ndarray
    part_needed: np.ndarray


def sensor_gains(costs: pd.DataFrame, days: np.ndarray, settings: CheckSettings) -> SensorGains:
    """Gains on the working days, drawn straight between the days of the costs.

    Before the first and after the last of these the value there is held. What a visit would do is
    that of the day of the costs last reached.

    Parameters
    ----------
    costs : frame of shape (n * grid, ...)
        Columns of ``CHECK_COSTS``, each sensor on the same days.
    days : array of int, shape (days,)
        Days from the as-of day.
    settings : CheckSettings
        Hours of a test and a replacement.

    Raises
    ------
    ValueError
        A sensor stands twice on a day, or not on every day of the others.
    """
    rows = costs.sort_values(["unit_id", "sensor_id", "day"], kind="stable")
    grid = np.unique(rows["day"].to_numpy(dtype=int))
    n = rows["sensor_id"].nunique()
    shape = (n, len(grid))
    if not np.array_equal(rows["day"].to_numpy(dtype=int), np.tile(grid, n)):
        raise ValueError("check_costs: every sensor needs one row for each day that any has")
    cost = rows["cost"].to_numpy(dtype=float).reshape(shape)
    without = rows["cost_without"].to_numpy(dtype=float).reshape(shape)
    part = rows["part_needed"].to_numpy(dtype=float).reshape(shape)
    replace = rows["action"].eq("replace").to_numpy().reshape(shape)
    if not n:
        none = np.zeros((0, len(days)))
        return SensorGains(rows[_OF_SENSOR], days, none, none.astype(bool), none, none)
    left, share = _between(grid, days)
    right = np.minimum(left + 1, len(grid) - 1)
    drawn = [v[:, left] + (v[:, right] - v[:, left]) * share for v in (without - cost, part)]
    replaces = replace[:, left]
    sensors = rows[_OF_SENSOR].iloc[:: len(grid)].reset_index(drop=True)
    hours = np.where(replaces, settings.replace_hours, settings.test_hours)
    return SensorGains(sensors, days, drawn[0], replaces, hours, drawn[1])


def gains_of_parts(
    parts: Iterable[pd.DataFrame], days: np.ndarray, settings: CheckSettings
) -> SensorGains:
    """The same of costs that come one part after another, for the memory; one at least.

    Parameters
    ----------
    parts : iterable of frames
        Parts of ``CHECK_COSTS``, rising by bike, each with all days of its sensors.
    days, settings
        As of ``sensor_gains``.

    Raises
    ------
    ValueError
        As ``sensor_gains``.
    """
    found = [sensor_gains(part, days, settings) for part in parts]
    if len(found) == 1:
        return found[0]
    sensors = pd.concat([each.sensors for each in found], ignore_index=True)
    return SensorGains(
        sensors,
        days,
        np.concatenate([each.gain for each in found]),
        np.concatenate([each.replaces for each in found]),
        np.concatenate([each.hours for each in found]),
        np.concatenate([each.part_needed for each in found]),
    )


def _between(grid: np.ndarray, days: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Index of the grid's day last reached, and the share of the way to the next."""
    left = np.clip(np.searchsorted(grid, days, side="right") - 1, 0, len(grid) - 1)
    step = np.diff(grid, append=grid[-1] + 1)[left]
    share = np.clip((days - grid[left]) / step, 0, 1)
    return left, np.where(left == len(grid) - 1, 0.0, share)
