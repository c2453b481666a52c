"""The base of the costs page, made up from the declared schemas."""

from __future__ import annotations

import numpy as np
import pandas as pd

from models.check_plan import schemas as check
from models.check_plan.plan import CheckRecords
from models.plans.actions import settled_cases
from models.plans.saving import EXPECTED_COST
from models.plans.schemas import EVIDENCE
from models.plans.settings import PlanSettings
from models.stock import schemas as stock
from models.stock.needs import SensorNeeds
from models.stock.plan import StockRecords, orders_today
from models.stock.settings import StockSettings
from models.stock.walk_in import walk_in_rates
from pipeline.access.frames import plan_schemas
from pipeline.access.what_if import WhatIfBase
from tests.dashboard.fake_views import HOSTILE, edition, rows
from tests.models.plans.outlooks import outlook

#: Ages and chances now of four sensors: near their end, in doubt, new, and one in between.
AGES_KM = [70_000.0, 20_000.0, 0.0, 45_000.0]
DEFECT_NOW = [0.6, 0.08, 0.001, 0.03]


def what_if_base(**changed) -> WhatIfBase:
    view = outlook(AGES_KM, belief=DEFECT_NOW, fits=3)
    ids = view.sensors["sensor_id"]
    evidence = EVIDENCE.check(
        rows(
            EVIDENCE,
            4,
            sensor_id=ids.to_list(),
            kind="potentiometer",
            defect_now=DEFECT_NOW,
            defect_now_low=0.0,
            defect_now_high=[0.8, 0.12, 0.01, 0.06],
            defect_5000_km=0.2,
            odometer_age_days=10.0,
            km_since_test=3_000.0,
            last_verdict="pass",
            last_conclusion="nothing_seen",
            last_fault_nature="none",
            **dict.fromkeys(("elsewhere", "unanswered", "repaired_since_test", "waiting"), None),
        )
    )
    records = _stock(view)
    base = {
        "edition": edition(),
        "built_with": PlanSettings(),
        "in_file": PlanSettings(),
        "problems": (),
        "rows": rows(
            plan_schemas.WHAT_IF_SENSORS,
            4,
            sensor_id=ids.to_list(),
            label=["K-1", HOSTILE, "K-3", "K-4"],
            defect_now=DEFECT_NOW,
            action_as_built=["replace", "leave", "leave", "leave"],
        ),
        "outlook": view,
        "cases": settled_cases(evidence),
        "last_tested_on": pd.Series(pd.NaT, index=range(4)),
        "stock": records,
        "orders": orders_today(records, StockSettings(), _no_transfers()).orders,
        "checks": _check_records(view),
        "check_about": rows(
            check.CHECK_ABOUT,
            2,
            shop_id=["north", "south"],
            visit_count=[1, 0],
            planned_hours=[0.8, 0.0],
            check_hours=60.0,
        ),
        "expected": rows(
            EXPECTED_COST,
            3,
            draw=[0, 1, 2],
            following=[900.0, 850.0, 990.0],
            doing_nothing=[1_200.0, 1_000.0, 1_500.0],
        ),
        "transfers": _no_transfers(),
    }
    return WhatIfBase(**(base | changed))


def _check_records(view) -> CheckRecords:
    bikes = view.sensors[["unit_id", "shop_id", "fleet_id"]]
    return CheckRecords(
        costs=check.CHECK_COSTS.empty(),
        owed=check.CHECK_OWED.empty(),
        bikes=check.CHECK_BIKES.check(bikes.assign(label="K", last_session_id=None)),
        windows=check.CHECK_WINDOWS.empty(),
        shops=rows(check.CHECK_SHOPS, 2, shop_id=["north", "south"], bay_hours_per_day=8.0),
        stock=check.CHECK_STOCK.empty(),
        parts=check.CHECK_PARTS.empty(),
        coming=check.CHECK_COMING.empty(),
    )


def _no_transfers() -> pd.DataFrame:
    return stock.TRANSFERS_ALLOWED.empty()


def _stock(view) -> StockRecords:
    days = view.days[view.days > 0].astype(float)
    needs = SensorNeeds(
        view.sensors[["sensor_id", "unit_id", "shop_id", "part_no"]],
        days,
        np.array(view.heard[:, 1:, view.days > 0]),
        stock.LEFT_OUT.empty(),
    )
    return StockRecords(
        needs=needs,
        places=stock.SENSOR_PLACES.empty(),
        parts=rows(
            stock.PARTS_SUPPLY,
            1,
            part_no="P1",
            unit_price=120.0,
            pack_size=1,
            lead_time_days=14,
            replaced_by=None,
            supply_ends_on=None,
        ),
        fitments=stock.FITMENTS.empty(),
        counts=stock.STOCK_COUNTS.empty(),
        walk_ins=walk_in_rates(stock.FIRST_VISITS.empty()),
        repeat_rate=0.0,
        day=edition().as_of,
    )
