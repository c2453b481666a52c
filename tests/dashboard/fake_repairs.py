"""Rates of repairs made up from jobs."""

from __future__ import annotations

from datetime import date

import pandas as pd

from models.plans.saved_so_far import SavedSoFar
from models.plans.saving import EXPECTED_COST
from models.plans.settings import PlanSettings
from models.repairs.rates import COMEBACK_DAYS, REPAIR_JOBS, repair_rates
from pipeline.access.repairs_view import RepairsView
from tests.dashboard.fake_views import HOSTILE, edition, rows


def repairs_view(jobs: pd.DataFrame | None = None, **values) -> RepairsView:
    """A view of 40 jobs: part P2 finds nothing in 12 of 20, part P1 in none."""
    frame = some_jobs() if jobs is None else jobs
    parts = {
        "edition": edition(),
        "rates": repair_rates(frame, pd.Timestamp("2026-03-15")),
        "linked": 3,
        "comeback_days": COMEBACK_DAYS,
        "saved": SavedSoFar(2400.0, 1100.0, 3900.0, date(2025, 9, 1), 30, 6, 20, 2, 3),
        "expected": expected(),
        "settings": PlanSettings(currency="crowns"),
    }
    return RepairsView(**(parts | values))


def expected() -> pd.DataFrame:
    return rows(
        EXPECTED_COST,
        3,
        draw=[0, 1, 2],
        following=[900.0, 950.0, 700.0],
        doing_nothing=[1000.0, 1200.0, 720.0],
        sensor_count=20,
    )


def some_jobs(closed_on: str = "2025-06-01") -> pd.DataFrame:
    return rows(
        REPAIR_JOBS,
        40,
        outcome_id=[f"R-{n}" for n in range(40)],
        closed_on=pd.Timestamp(closed_on),
        part_no=["P1"] * 20 + ["P2"] * 20,
        model_code=[HOSTILE if n % 2 else "alder" for n in range(40)],
        shop_id=["s1" if n % 4 else "s2" for n in range(40)],
        shop_name="Weir Lane",
        action=["sensor_replaced"] * 28 + ["no_fault_found"] * 12,
        came_back_on=[pd.Timestamp("2025-06-20") if n < 3 else pd.NaT for n in range(40)],
    )
