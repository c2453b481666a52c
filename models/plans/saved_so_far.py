"""What the advice is estimated to have saved since it has been kept, by what came of it.

Counted is what is on record: planned visits, tests, sound sensors taken off, and defects that were
confirmed after work had been advised and before anybody noticed them. What is not on record is how
those defects would have gone on. Assumed is that each would have been heard of all the same, as a
failure on the road by the share of those among the defects heard of, else as a complaint, and that
the rest of its costs (the part, fitting it) would then have come as well. So

    saved = sum over caught (heard - found) - tests - calls without a test - false alarms

in the prices of ``models.plans.costs``. The interval is that of the share alone, in which the sum
is straight; that some of these defects would never have been heard of would make it less.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

import numpy as np
import pandas as pd
from scipy.stats import beta

from models.frames import Column, FrameSchema
from models.plans.costs import prices_of
from models.plans.settings import PlanSettings
from models.risk.assumed import BetaPrior

LEVEL = 0.9

ADVICE_OUTCOMES = FrameSchema(
    "advice_outcomes",
    "one sensor and one run of days over which work was advised: what came of it in 180 days",
    (
        Column("sensor_id", "text", "the sensor"),
        Column("first_on", "date", "first day on which it was advised"),
        Column("part_cost", "number", "price of a part of its number", "money", True),
        Column("tested", "flag", "tested"),
        Column("taken_off", "flag", "replaced or cleaned"),
        Column("confirmed", "flag", "taken off, and its fault confirmed by more than the verdict"),
        Column("sound", "flag", "taken off and found sound"),
        Column("noticed", "flag", "a complaint or a road failure came before that"),
    ),
)


@dataclass(frozen=True)
class SavedSoFar:
    """The estimate with its 90 % interval, in the shop's currency, and the counts behind it.

    ``since`` is the first day on which work was advised, None where none ever was.
    """

    estimate: float
    low: float
    high: float
    since: date | None
    advised: int
    caught: int
    tested: int
    sound: int
    noticed: int


def saved_so_far(outcomes: pd.DataFrame, share: BetaPrior, settings: PlanSettings) -> SavedSoFar:
    """Put what came of the advice into money.

    Work after a complaint or a road failure counts neither way: it would have come anyway.

    Parameters
    ----------
    outcomes : frame of shape (n, ...)
        ADVICE_OUTCOMES.
    share : BetaPrior
        Share of road failures among the defects heard of, from ``road_share``.
    settings : PlanSettings
        Costs and times.
    """
    rows = ADVICE_OUTCOMES.check(outcomes)
    flags = {
        name: rows[name].to_numpy(dtype=bool)
        for name in ("tested", "taken_off", "confirmed", "sound", "noticed")
    }
    planned = ~flags["noticed"]
    caught, sound = (planned & flags[name] for name in ("confirmed", "sound"))
    tested = planned & flags["tested"]
    tail = (1 - LEVEL) / 2
    ends = beta(share.hits, share.misses).ppf([tail, 1 - tail])
    sums = []
    for road_share in (share.mean, *ends):
        prices = prices_of(rows["part_cost"].to_numpy(float), float(road_share), settings)
        gained = (prices.heard - prices.found)[caught].sum()
        called = settings.call_in_cost * (planned & flags["taken_off"] & ~flags["tested"]).sum()
        spent = prices.test[tested].sum() + prices.false_alarm[sound].sum() + called
        sums.append(float(gained - spent))
    first = rows["first_on"].min()
    return SavedSoFar(
        sums[0],
        min(sums),
        max(sums),
        None if pd.isna(first) else first.date(),
        len(rows),
        *(int(np.sum(some)) for some in (caught, tested, sound, flags["noticed"])),
    )
