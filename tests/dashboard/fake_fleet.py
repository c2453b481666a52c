"""A fleet made up from the declared schemas."""

from __future__ import annotations

import dataclasses

import pandas as pd

from models.check_plan.schemas import CHECK_EVENTS, CHECK_VISITS
from models.risk.bike_weeks import BIKE_WEEKS
from pipeline.access.fleet_view import FleetView
from pipeline.access.frames.fleet_schemas import FLEET_BIKES, FLEET_WINDOWS
from tests.dashboard.fake_views import HOSTILE, edition, rows

DAY = pd.Timestamp("2026-03-15")


def fleet_bikes() -> pd.DataFrame:
    """Known and to be checked, stale, never tested, without a sensor, private, and gone."""
    return rows(
        FLEET_BIKES,
        6,
        unit_id=[f"U-{n}" for n in range(6)],
        label=["F-00", HOSTILE, "F-02", "F-03", "walk-in", "gone"],
        shop_id=["north", "north", "south", "south", "north", "north"],
        shop_name=["North Yard", "North Yard", "South Yard", "South Yard"] + ["North Yard"] * 2,
        fleet_id=["river", "river", "river", "hill", None, "river"],
        out_of_service=[False] * 5 + [True],
        out_of_service_on=[None] * 5 + ["2026-01-10"],
        odometer_read_on=["2026-03-10", "2024-03-10", None, "2026-03-10", "2026-03-10", None],
        days_since_reading=[5, 735, None, 5, 5, None],
        odometer_stale=[False, True, None, False, False, None],
        sensor_count=[2, 1, 1, 0, 1, 0],
        chance_count=[2, 1, 0, 0, 1, 0],
        untested_count=[0, 0, 1, 0, 0, 0],
        kindless_count=0,
        not_known_count=[0, 1, 1, 0, 0, 0],
        waiting_count=0,
        last_tested_on=["2026-02-01", "2023-02-01", None, None, "2026-01-01", None],
        visit_on=["2026-03-20", None, None, None, None, None],
        plight=[None, None, "cost_not_known", None, None, None],
        road=[0.06, 0.02, None, None, 0.01, None],
        road_low=[0.03, 0.01, None, None, 0.005, None],
        road_high=[0.12, 0.05, None, None, 0.02, None],
        typed_out_on=None,
        typed_back=False,
    )


def weeks(bikes: pd.DataFrame | None = None, count: int = 6) -> pd.DataFrame:
    """The worst bike first, two of which nothing is known."""
    bikes = fleet_bikes() if bikes is None else bikes
    here = bikes.loc[~bikes["out_of_service"].astype(bool), "unit_id"].tolist()
    chance = {"U-0": 0.005, "U-1": 0.002, "U-4": 0.0001}
    frame = pd.DataFrame(
        [
            {
                "unit_id": unit,
                "week": week,
                "from_on": DAY + pd.Timedelta(days=7 * week - 6),
                "to_on": DAY + pd.Timedelta(days=7 * week),
                "road": chance.get(unit),
                "road_by_then": chance[unit] * week if unit in chance else None,
                "sensors_known": int(unit in chance),
            }
            for unit in here
            for week in range(1, count + 1)
        ],
        columns=BIKE_WEEKS.names,
    )
    return BIKE_WEEKS.check(frame)


def windows(**values) -> pd.DataFrame:
    return rows(
        FLEET_WINDOWS,
        3,
        unit_id=["U-0", "U-1", "U-3"],
        label=["F-00", HOSTILE, "F-03"],
        **{
            "free_from": ["2026-03-20", "2026-03-22", "2026-03-24"],
            "free_to": ["2026-03-21", "2026-03-23", "2026-03-25"],
            "state": ["planned", "typed", "planned"],
        }
        | values,
    )


def fleet_view(**values) -> FleetView:
    bikes = values.get("bikes", fleet_bikes())
    visit = {"unit_id": "U-0", "label": "F-00", "fleet_id": "river", "on_day": "2026-03-20"}
    view = FleetView(
        edition(),
        bikes,
        weeks(bikes),
        windows(),
        rows(CHECK_VISITS, 1, **visit),
        rows(CHECK_EVENTS, 1, cancelled=False, **visit),
        0.64,
    )
    return dataclasses.replace(view, **values)
