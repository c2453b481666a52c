"""Small shops made up for the tests of the check plan."""

from __future__ import annotations

from datetime import date

import numpy as np
import pandas as pd

from models.check_plan import schemas
from models.check_plan.plan import CheckRecords

AS_OF = date(2026, 10, 31)  # a Saturday
GRID = np.array([1, 4, 8, 11, 15, 18, 22, 25, 29, 32, 36, 39, 43])


def on(day: int) -> pd.Timestamp:
    return pd.Timestamp(AS_OF) + pd.Timedelta(days=day)


def sensor(
    unit: str,
    *,
    number: int = 1,
    saves: float = 40.0,
    a_day: float = 0.5,
    action: str = "test",
    part: str = "P-1",
    fleet: str | None = None,
    shop: str = "yard",
) -> pd.DataFrame:
    """Costs of one sensor's visits: ``saves`` on the as-of day, ``a_day`` less each day."""
    return pd.DataFrame(
        {
            "sensor_id": f"{unit}/{number}",
            "unit_id": unit,
            "shop_id": shop,
            "fleet_id": fleet,
            "part_no": part,
            "action": action,
            "day": GRID,
            "cost": 200.0 - saves + a_day * GRID,
            "cost_without": 200.0,
            "part_needed": 1.0 if action == "replace" else 0.2,
        }
    )


def records(
    *sensors: pd.DataFrame,
    owed: tuple[str, ...] = (),
    windows: tuple[tuple[str, int, int], ...] = (),
    stock: tuple[tuple[str, int, int, int | None], ...] = (),
    bay_hours: float | None = 8.0,
    replaced_by: dict[str, str] | None = None,
    without_costs: tuple[str, ...] = (),
    ordered: tuple[tuple[str, int, int], ...] = (),
    fetched: tuple[tuple[str, int], ...] = (),
    passed_on: tuple[tuple[str, int], ...] = (),
    owed_for: str = "advised",
) -> CheckRecords:
    """One shop. ``windows`` of bike, first and last day; ``stock`` of part, on hand, on order, due.

    ``ordered`` today of part, count and day due; ``fetched`` and ``passed_on`` of part and count.
    """
    coming = [("yard", part, n, on(due), 0, 0) for part, n, due in ordered]
    coming += [("yard", part, 0, on(0), n, 0) for part, n in fetched]
    coming += [("yard", part, 0, on(0), 0, n) for part, n in passed_on]
    costs = pd.concat(sensors, ignore_index=True) if sensors else schemas.CHECK_COSTS.empty()
    bikes = costs.drop_duplicates("unit_id")[["unit_id", "shop_id", "fleet_id"]]
    more = pd.DataFrame({"unit_id": list(without_costs), "shop_id": "yard", "fleet_id": None})
    bikes = pd.concat([bikes, more], ignore_index=True) if without_costs else bikes
    return CheckRecords(
        costs,
        pd.DataFrame({"sensor_id": list(owed), "owed_for": owed_for}),
        bikes.assign(label=bikes["unit_id"], last_session_id=None),
        pd.DataFrame(
            [(unit, on(first), on(last)) for unit, first, last in windows],
            columns=schemas.CHECK_WINDOWS.names,
        ),
        pd.DataFrame([{"shop_id": "yard", "shop_name": "Yard", "bay_hours_per_day": bay_hours}]),
        pd.DataFrame(
            [
                ("yard", part, on(0), there, order, None if due is None else on(due), None)
                for part, there, order, due in stock
            ],
            columns=schemas.CHECK_STOCK.names,
        ),
        pd.DataFrame(list((replaced_by or {}).items()), columns=["part_no", "replaced_by"]),
        pd.DataFrame(coming, columns=schemas.CHECK_COMING.names),
    )
