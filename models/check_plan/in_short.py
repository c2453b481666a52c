"""What a plan of checks comes to in each shop, without its visits one by one and their reasons."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date

import numpy as np
import pandas as pd

from models.check_plan.gains import SensorGains
from models.check_plan.plan import (
    CheckRecords,
    ShopProblem,
    every_day_closed,
    solved_shops,
)
from models.check_plan.settings import CheckSettings
from models.check_plan.solve import Solved
from models.frames import Column, FrameSchema

CHECKS_IN_SHORT = FrameSchema(
    "checks_in_short",
    "one shop: what the plan of its checks comes to",
    (
        Column("shop_id", "text", "shop"),
        Column("shop_name", "text", "its name"),
        Column("visit_count", "whole", "visits planned"),
        Column("planned_hours", "number", "bay hours of these", "h"),
        Column("check_hours", "number", "bay hours kept for checks", "h"),
        Column("saves", "number", "expected cost saved by the visits", "currency"),
        Column("owed_count", "whole", "visits that cost more than they save: owed all the same"),
        Column("owed_adds", "number", "what these add to the expected cost", "currency"),
    ),
)


def checks_in_short(
    records: CheckRecords,
    as_of: date,
    settings: CheckSettings,
    now_and_then: Callable[[], None] = lambda: None,
) -> pd.DataFrame:
    """Plan as ``plan_checks`` does: CHECKS_IN_SHORT.

    ``now_and_then`` is called while it is worked out, and may give it up by raising; parameters
    else are those of ``plan_checks``.
    """
    found = solved_shops(records.checked(), as_of, settings, now_and_then)
    if found is None:
        about = every_day_closed(records, settings).about
        none = about.assign(owed_count=0, owed_adds=0.0)
        return CHECKS_IN_SHORT.check(none)
    rows = [_row(problem, solved, found.gains) for problem, solved in found.solved]
    return CHECKS_IN_SHORT.check(pd.DataFrame(rows, columns=CHECKS_IN_SHORT.names))


def _row(problem: ShopProblem, solved: Solved, gains: SensorGains) -> dict[str, object]:
    case, answer, members = problem.made.case, solved.answer, problem.made.members
    bikes = np.flatnonzero(answer.choice >= 0)
    choice, day = answer.choice[bikes], answer.day[bikes]
    # what each visit saves by itself, without what makes owed ones come first
    saves = np.array(
        [
            sum(gains.gain[problem.sensors[list(members[c])], d])
            for c, d in zip(choice.tolist(), day.tolist(), strict=True)
        ],
        dtype=float,
    )
    return {
        "shop_id": problem.shop["shop_id"],
        "shop_name": problem.shop["shop_name"],
        "visit_count": len(bikes),
        "planned_hours": float(case.hours[choice, day].sum()),
        "check_hours": float(case.bay_hours.sum()),
        "saves": float(saves.sum()),
        "owed_count": int((saves < 0).sum()),
        "owed_adds": float(-saves[saves < 0].sum()),
    }
