"""Chance, week by week, that a bike is let down on the road by one of its throttle sensors.

A sensor lets the rider down by a day with the chance s H, H being the chance that a defect of it is
heard of by then and s the share of road failures among those (see ``models.risk.ahead``). Given
the parameters, sensors fail apart from one another, so that a bike of several stays free of it with
the product of their chances. A week's own chance is that by its end less that by its beginning:
the chance that the first failure falls into it, as if nobody tested or repaired before.
"""

from __future__ import annotations

from datetime import date

import numpy as np
import pandas as pd

from models.frames import Column, FrameSchema

WEEKS_SHOWN = 6
_DAYS_A_WEEK = 7

SENSOR_DAYS = FrameSchema(
    "sensor_days",
    "one sensor in service and one day ahead; sensors whose chances are not known have no row",
    (
        Column("sensor_id", "text", "the sensor"),
        Column("unit_id", "text", "the bike"),
        Column("days", "whole", "days from the as-of day", "d"),
        Column("heard", "number", "chance that a defect is heard of by then", "0 to 1"),
    ),
)

BIKE_WEEKS = FrameSchema(
    "bike_weeks",
    "one bike in service and one week ahead",
    (
        Column("unit_id", "text", "the bike"),
        Column("week", "whole", "1 for the first seven days after the as-of day"),
        Column("from_on", "date", "its first day"),
        Column("to_on", "date", "its last day"),
        Column("road", "number", "chance of the first road failure in it", "0 to 1", True),
        Column("road_by_then", "number", "chance of one by its end", "0 to 1", True),
        Column("sensors_known", "whole", "sensors that the chance rests on"),
    ),
)


def bike_weeks(
    unit_ids: pd.Series,
    sensor_days: pd.DataFrame,
    road_share: float,
    as_of: date,
    *,
    weeks: int = WEEKS_SHOWN,
) -> pd.DataFrame:
    """BIKE_WEEKS of every bike, by bike in the order given and week.

    Parameters
    ----------
    unit_ids : series of shape (n,)
        The bikes; one none of whose sensors has a known chance is blank.
    sensor_days : frame of shape (rows, ...)
        SENSOR_DAYS, a row for the end of each week among them.
    road_share : float
        Share of road failures among the defects heard of, 0 to 1.
    as_of : date
        The as-of day.
    weeks : int
        Weeks ahead.
    """
    ends = np.arange(1, weeks + 1) * _DAYS_A_WEEK
    days = SENSOR_DAYS.check(sensor_days)
    days = days[days["days"].isin(ends)]
    spared = np.log1p(-np.clip(road_share * days["heard"], 0.0, 1 - 1e-12))
    by_bike = spared.groupby([days["unit_id"], days["days"]]).agg(["sum", "size"])
    grid = pd.MultiIndex.from_product([unit_ids, ends], names=["unit_id", "days"])
    found = by_bike.reindex(grid)
    by_then = -np.expm1(found["sum"].to_numpy(float)).reshape(-1, weeks)
    week = np.diff(by_then, axis=1, prepend=0.0) if len(by_then) else by_then
    last = pd.Timestamp(as_of) + pd.to_timedelta(np.tile(ends, len(unit_ids)), unit="D")
    return BIKE_WEEKS.check(
        pd.DataFrame(
            {
                "unit_id": np.repeat(unit_ids.to_numpy(dtype=object), weeks),
                "week": np.tile(np.arange(1, weeks + 1), len(unit_ids)),
                "from_on": last - pd.Timedelta(days=_DAYS_A_WEEK - 1),
                "to_on": last,
                "road": np.where(np.isnan(week), np.nan, np.maximum(week, 0.0)).reshape(-1),
                "road_by_then": by_then.reshape(-1),
                "sensors_known": found["size"].fillna(0).to_numpy(int),
            }
        )
    )


def any_of(bikes: pd.Series, chances: pd.Series) -> pd.Series:
    """Chance that at least one of a bike's sensors does, each apart from the others, by bike.

    Blanks are left out; a bike with nothing but blanks is blank.
    """
    spared = np.log1p(-chances.clip(0.0, 1 - 1e-12))
    return -np.expm1(spared.groupby(bikes).sum(min_count=1))
