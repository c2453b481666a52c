"""How often no fault was found, and how often a job came back, with the interval of each share.

A share of few jobs is hardly known, so that each goes with its count and with Jeffreys' interval:
the posterior of a Beta(1/2, 1/2) prior, its ends set to 0 or 1 where none or all were hits (Brown,
Cai & DasGupta, "Interval estimation for a binomial proportion", Statistical Science 16 (2001) 101,
section 4.1 and eq. 6; from memory). Nothing here is grouped by person.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
from scipy.stats import beta

from models.frames import Column, FrameSchema

#: A job that is to come back has had this long to do so; common practice, no source.
COMEBACK_DAYS = 90
LEVEL = 0.9

REPAIR_JOBS = FrameSchema(
    "repair_jobs",
    "one closed job on one sensor",
    (
        Column("outcome_id", "text", "the job"),
        Column("closed_on", "date", "its day"),
        Column("part_no", "text", "part number of the sensor"),
        Column("model_code", "text", "the bike's model"),
        Column("shop_id", "text", "shop of the test that led to it, else the bike's"),
        Column("shop_name", "text", "its name"),
        Column("action", "text", "what was done"),
        Column("came_back_on", "date", "first later job that names it as its origin", blank=True),
    ),
)

REPAIR_RATES = FrameSchema(
    "repair_rates",
    "one rate in one group: its count, its share and the 90 % interval",
    (
        Column("rate", "text", "no_fault_found or comeback"),
        Column("by", "text", "all, part, model or shop"),
        Column("group_id", "text", "part number, model or shop; all"),
        Column("group_name", "text", "its name as shown"),
        Column("n", "whole", "jobs counted"),
        Column("hits", "whole", "of these, without a fault found, or come back"),
        Column("share", "number", "hits of n", "0 to 1", True),
        Column("low", "number", "lower end, 90 %", "0 to 1", True),
        Column("high", "number", "upper end, 90 %", "0 to 1", True),
    ),
)

_GROUPS = {
    "part": ("part_no", "part_no"),
    "model": ("model_code", "model_code"),
    "shop": ("shop_id", "shop_name"),
}


def jeffreys_interval(
    hits: np.ndarray, n: np.ndarray, *, level: float = LEVEL
) -> tuple[np.ndarray, np.ndarray]:
    """Lower and upper end of a share, Jeffreys; blank where nothing was counted.

    Parameters
    ----------
    hits, n : array of shape (groups,)
        Hits among n.
    level : float
        Chance that the interval is meant to hold.
    """
    hits, n = np.asarray(hits, dtype=float), np.asarray(n, dtype=float)
    tail = (1 - level) / 2
    low = beta.ppf(tail, hits + 0.5, n - hits + 0.5)
    high = beta.ppf(1 - tail, hits + 0.5, n - hits + 0.5)
    low, high = np.where(hits == 0, 0.0, low), np.where(hits == n, 1.0, high)
    return np.where(n > 0, low, np.nan), np.where(n > 0, high, np.nan)


def repair_rates(
    jobs: pd.DataFrame, as_of: pd.Timestamp, *, comeback_days: int = COMEBACK_DAYS
) -> pd.DataFrame:
    """Rates over all jobs, by part, by model and by shop: REPAIR_RATES.

    Comebacks are counted among jobs closed at least ``comeback_days`` before the as-of day, and
    only those that came within as many days: a job of yesterday has had no time to come back.

    Parameters
    ----------
    jobs : frame of shape (n, ...)
        REPAIR_JOBS.
    as_of : Timestamp
        The as-of day.
    comeback_days : int
        Days within which a job counts as come back.
    """
    within = pd.Timedelta(days=comeback_days)
    watched = jobs[jobs["closed_on"] + within <= as_of]
    counted = {
        "no_fault_found": jobs.assign(hit=jobs["action"].eq("no_fault_found")),
        "comeback": watched.assign(
            hit=(watched["came_back_on"] - watched["closed_on"]).le(within).fillna(False)
        ),
    }
    found = [
        _counted(rows, rate, by, *names)
        for rate, rows in counted.items()
        for by, names in {"all": (None, None), **_GROUPS}.items()
    ]
    rates = pd.concat(found, ignore_index=True)
    low, high = jeffreys_interval(rates["hits"].to_numpy(), rates["n"].to_numpy())
    share = rates["hits"] / rates["n"].where(rates["n"] > 0)
    return REPAIR_RATES.check(rates.assign(share=share, low=low, high=high))


def _counted(
    rows: pd.DataFrame, rate: str, by: str, identifier: str | None, name: str | None
) -> pd.DataFrame:
    if identifier is None:
        count = pd.DataFrame({"group_id": ["all"], "group_name": ["all"]})
        count = count.assign(n=len(rows), hits=int(rows["hit"].sum()))
    else:
        keyed = rows.assign(group_id=rows[identifier], group_name=rows[name])
        grouped = keyed.groupby(["group_id", "group_name"], as_index=False)["hit"]
        count = grouped.agg(n="size", hits="sum")
    return count.assign(rate=rate, by=by)
