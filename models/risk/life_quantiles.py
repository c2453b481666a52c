"""B10 and B50 life by part and by duty: the age by which 10 or 50 in 100 have the defect.

The notation is that of IEC 61649:2008 (Weibull analysis), there for failures; from memory.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import numpy as np
import pandas as pd

from models.frames import Column
from models.risk.about_estimate import about_estimate
from models.risk.hazard import DefectHazard
from models.risk.schemas import LIFE_WINDOWS, RecordSchema

#: B10 and B50.
SHARES = (0.10, 0.50)
#: Lives of a group over which its curve is averaged at most; more are drawn evenly.
_MOST_LIVES = 150

LIFE_QUANTILES = RecordSchema(
    "life_quantiles",
    "one group (all, a part or a duty) and one share: age by which so many have the defect",
    (
        Column("grouped_by", "text", "all, part_no or duty"),
        Column("group_name", "text", "part number, duty, or all"),
        Column("share_with_defect", "number", "0.1 for B10, 0.5 for B50"),
        Column(
            "life_km",
            "number",
            "age of the sensor by which this share has the defect; where beyond, the oldest age "
            "watched, which it exceeds",
            "km",
        ),
        Column("life_low_km", "number", "lower end, 90 %; at most the oldest age watched", "km"),
        Column("life_high_km", "number", "upper end, 90 %; blank where beyond", "km", True),
        Column("beyond", "flag", "the age lies beyond the oldest sensor of the group watched"),
        Column("oldest_km", "number", "age of the oldest sensor of the group watched", "km"),
        Column("sensor_count", "whole", "sensor lives in the records"),
        Column("defect_count", "whole", "defects among them"),
        Column("words", "text", "the same in a sentence"),
    ),
)


def life_quantiles(
    model: DefectHazard,
    windows: pd.DataFrame,
    *,
    shares: tuple[float, ...] = SHARES,
    n_draws: int = 200,
    level: float = 0.9,
    seed: int = 0,
) -> pd.DataFrame:
    """Ages by which shares of the sensors have the defect, of all and by part and duty.

    A group's curve is the mean of the curves of its lives, each taken as a new sensor. No age is
    given beyond the oldest that a sensor of the group, of known age, was watched at.

    Parameters
    ----------
    model : DefectHazard
        Fitted to ``windows``.
    windows : frame of shape (lives, ...)
        Columns of ``LIFE_WINDOWS``.
    shares : tuple of float
        Shares with the defect, between 0 and 1.
    n_draws, seed : int
        Number and seed of the draws of the coefficients behind the intervals.
    level : float
        Chance that an interval is meant to hold.

    Returns
    -------
    frame in the columns of ``LIFE_QUANTILES``

    Raises
    ------
    ValueError
        A share of 0 or less, or 1 or more.
    """
    if not all(0 < share < 1 for share in shares):
        raise ValueError(f"shares are {shares}, expected each between 0 and 1")
    lives = LIFE_WINDOWS.check(windows)
    draws = np.vstack([model.coef_, model.draw(n_draws, seed)])
    rows = [
        row
        for by, name, group in _groups(lives)
        for row in _of_group(model, by, name, group, draws, shares, level)
    ]
    return LIFE_QUANTILES.check(pd.DataFrame(rows, columns=LIFE_QUANTILES.names))


def crossing_km(age_km: np.ndarray, survival: np.ndarray, share: float) -> np.ndarray:
    """First age at which survival has fallen to 1 - share; infinite where it never does.

    Between two ages the cumulative hazard is taken as straight.

    Parameters
    ----------
    age_km : array of shape (k,)
        Ages, rising from 0.
    survival : array of shape (draws, k)
        Chance of no defect by then, 1 at age 0 and not rising.
    share : float
        Share with the defect.
    """
    hazard = -np.log(np.maximum(survival, 1e-300))
    level = -np.log1p(-share)
    reached = hazard >= level
    after = np.maximum(reached.argmax(axis=1), 1)
    row = np.arange(len(hazard))
    before, step = hazard[row, after - 1], hazard[row, after] - hazard[row, after - 1]
    part = (level - before) / np.where(step > 0, step, 1.0)
    age = age_km[after - 1] + part * (age_km[after] - age_km[after - 1])
    return np.where(reached.any(axis=1), age, np.inf)


def _groups(lives: pd.DataFrame) -> Iterator[tuple[str, str, pd.DataFrame]]:
    if len(lives):
        yield "all", "all", lives
    for by in ("part_no", "duty"):
        for name, group in lives.groupby(by, sort=True):
            yield by, str(name), group


def _of_group(
    model: DefectHazard,
    by: str,
    name: str,
    group: pd.DataFrame,
    draws: np.ndarray,
    shares: tuple[float, ...],
    level: float,
) -> list[dict[str, Any]]:
    oldest = _oldest(group, float(model.edges_[-1]))
    age = np.append(model.edges_[model.edges_ < oldest], oldest)
    survival = about_estimate(_mean_survival(model, group, age, draws))
    counts = {
        "oldest_km": oldest,
        "sensor_count": len(group),
        "defect_count": int(group["bad_km"].notna().sum()),
    }
    rows = []
    for share in shares:
        found = crossing_km(age, survival, share)
        drawn = found[1:] if len(found) > 1 else found
        ends = np.quantile(drawn, [(1 - level) / 2, (1 + level) / 2], method="closest_observation")
        low, high = min(ends[0], found[0]), max(ends[1], found[0])
        row = {
            "grouped_by": by,
            "group_name": name,
            "share_with_defect": share,
            "life_km": min(found[0], oldest),
            "life_low_km": min(low, oldest),
            "life_high_km": high if np.isfinite(high) else np.nan,
            "beyond": bool(np.isinf(found[0])),
            **counts,
        }
        rows.append(row | {"words": _words(row)})
    return rows


def _oldest(group: pd.DataFrame, of_all: float) -> float:
    """Oldest age watched among lives of known age; that of all where none is known."""
    known = group[group["age_known"].astype(bool)]
    oldest = known[["good_km", "bad_km", "contact_km"]].max(axis=None)
    return min(float(oldest), of_all) if oldest > 0 else of_all


def _mean_survival(
    model: DefectHazard, group: pd.DataFrame, age: np.ndarray, draws: np.ndarray
) -> np.ndarray:
    """Survival of the group's lives as new sensors, shape (draws, ages)."""
    some = group
    if len(group) > _MOST_LIVES:
        some = group.iloc[np.linspace(0, len(group) - 1, _MOST_LIVES).round().astype(int)]
    return model.predict_survival(some.assign(repaired=False), age[None, :], draws).mean(axis=1)


def _words(row: dict[str, Any]) -> str:
    name = f"B{100 * row['share_with_defect']:g} life"
    whose = "" if row["grouped_by"] == "all" else f" of {row['group_name']}"
    if row["beyond"]:
        return f"{name}{whose}: beyond the oldest sensor watched ({row['oldest_km']:,.0f} km)."
    upper = row["life_high_km"]
    to = f"to {upper:,.0f} km" if np.isfinite(upper) else "to beyond the oldest sensor watched"
    return f"{name}{whose}: about {row['life_km']:,.0f} km, likely {row['life_low_km']:,.0f} {to}."
