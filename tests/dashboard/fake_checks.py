"""Plans of checks made up from the declared schemas."""

from __future__ import annotations

import dataclasses

import pandas as pd

from models.check_plan import schemas
from pipeline.access.check_plan_view import CheckPlanView
from pipeline.warehouse.check_plan import CHECK_SETTINGS
from tests.dashboard.fake_views import HOSTILE, edition, one, rows

MONDAY = pd.Timestamp("2026-11-02")


def visits(count: int = 4) -> pd.DataFrame:
    number = range(count)
    return rows(
        schemas.CHECK_VISITS,
        count,
        unit_id=[f"U-{n:03d}" for n in number],
        label=[HOSTILE if n == 0 else f"bike {n}" for n in number],
        shop_id=[f"shop-{n % 2}" for n in number],
        shop_name=["North Yard" if n % 2 else "South Yard" for n in number],
        fleet_id=[None if n % 3 else "river-fleet" for n in number],
        on_day=[MONDAY + pd.Timedelta(days=n % 5 + 7 * (n // 5 % 6)) for n in number],
        work_hours=0.5,
        todo="Test sensor S-1 on the bench; part P-1 is needed in 22 of 100 such tests.",
        saves=[42.0 if n % 2 else -50.0 for n in number],
        waiting_costs=3.0,
        owed=[n % 2 == 0 for n in number],
        owed_for=[("advised", None, "not_known", None)[n % 4] for n in number],
        needs_advised_part=[n == 1 for n in number],
        late=[n == 1 for n in number],
        why="It is the first day open.\nPart P-1 is there.",
        uid=[f"{n}@wear-atlas" for n in number],
    )


def unplaced() -> pd.DataFrame:
    return rows(
        schemas.CHECK_UNPLACED,
        5,
        unit_id=[f"U-9{n}" for n in range(5)],
        label=[f"left out {n}" for n in range(5)],
        shop_id="shop-1",
        shop_name="North Yard",
        fleet_id=None,
        plight=["no_window", "no_part", "no_hours", "not_worth_a_day", "cost_not_known"],
        best_day=[MONDAY] * 4 + [pd.NaT],
        waiting_costs=[115.0, 52.0, 8.0, -20.0, None],
        owed=False,
        late=[True, False, False, False, False],
        words="A reason.",
    )


def days() -> pd.DataFrame:
    on_day = [MONDAY + pd.Timedelta(days=d) for d in range(42) if d % 7 < 5]
    return rows(
        schemas.CHECK_DAYS,
        60,
        shop_id=["shop-0"] * 30 + ["shop-1"] * 30,
        shop_name=["South Yard"] * 30 + ["North Yard"] * 30,
        on_day=on_day * 2,
        week=[1 + n // 5 for n in range(30)] * 2,
        check_hours=2.0,
        hours_assumed=[False] * 30 + [True] * 30,
        planned_hours=[1.0, 0.0, 2.0] * 20,
        visit_count=[2, 0, 4] * 20,
        further_hours=0.1,
    )


def about() -> pd.DataFrame:
    return rows(
        schemas.CHECK_ABOUT,
        2,
        shop_id=["shop-0", "shop-1"],
        shop_name=["South Yard", "North Yard"],
        bike_count=20,
        saves=[100.0, 40.0],
        at_most=[100.0, 41.5],
        method=["exact", "search"],
        hours_assumed=[False, True],
    )


def events(count: int = 4) -> pd.DataFrame:
    own = visits(count)
    same = ["uid", "unit_id", "label", "shop_id", "shop_name", "fleet_id", "on_day", "todo", "why"]
    return schemas.CHECK_EVENTS.check(
        own[same].assign(revision=0, changed_on=MONDAY, cancelled=False)
    )


def settings() -> dict:
    return one(
        CHECK_SETTINGS,
        weeks_ahead=6,
        check_share_of_bay_hours=0.25,
        bay_hours_per_day_if_unknown=8.0,
        test_hours=0.5,
        replace_hours=0.8,
        depot_day_cost=25.0,
        working_days="0 1 2 3 4",
        closed_days="2026-12-25",
        private_not_known="ask in",
        currency="",
    )


def check_plan_view(**values) -> CheckPlanView:
    parts = {
        "edition": edition(),
        "visits": visits(),
        "unplaced": unplaced(),
        "days": days(),
        "about": about(),
        "events": events(),
        "settings": settings(),
    }
    return CheckPlanView(**(parts | values))


def nothing_planned() -> CheckPlanView:
    return check_plan_view(
        visits=schemas.CHECK_VISITS.empty(),
        unplaced=schemas.CHECK_UNPLACED.empty(),
        events=schemas.CHECK_EVENTS.empty(),
    )


def no_bikes() -> CheckPlanView:
    return dataclasses.replace(
        nothing_planned(), days=schemas.CHECK_DAYS.empty(), about=schemas.CHECK_ABOUT.empty()
    )
