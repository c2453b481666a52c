"""Whether a bike not read for a while is still in view: would its shop hear of a road failure?

A fleet's bikes are. A private bike may be due for its next visit, or gone. Visits brought about by
defects are contacts too, so lives cut at their last contact would count the defects of a stretch
and leave out the sound km of bikes that had no cause to come: the curve would be too steep. A
sound bike is therefore followed on with the chance that it is still in view.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from models.risk.assumed import LOST_AT_CONTACT, BetaPrior

_MAX_TURNS, _SETTLED = 200, 1e-9
#: Shorter gaps (two readings of one visit, a job that took days) say nothing of a bike's pace.
_SHORTEST_DAYS = 7.0
#: Gaps that the slope by pace is drawn to nought by, assumed; and its steepest: visits by km.
_SLOPE_GAPS, _STEEPEST = 10.0, -1.0


def in_view_chances(
    gaps: pd.DataFrame,
    *,
    prior: BetaPrior = LOST_AT_CONTACT,
    km_per_day: pd.Series | None = None,
) -> pd.Series:
    """Chance that each bike is still in view, from the days between contacts.

    After each contact a bike is lost with the chance r; otherwise the next one follows after a gap
    drawn as the closed gaps were. With S(g) the share of closed gaps longer than g days, a bike
    unread for g days is in view with the chance (1-r) S(g) / ((1-r) S(g) + r), and r is the
    expected losses over all gaps, by EM from a Beta prior (a mixture cure model: Maller & Zhou,
    Survival Analysis with Long-Term Survivors, 1996, with the survivor function known).

    Bikes that run more come more often where visits go by km. So gaps are first put in terms of
    those of a bike of the fleet's usual pace, by the slope of their logarithm on that of the pace
    among the closed ones: nought where visits go by the calendar, -1 where they go by km. Without
    this a hard-ridden bike that stays away is thought to be in view as long as a slow one would be.

    Parameters
    ----------
    gaps : frame of shape (n, ...)
        Columns of ``CONTACT_GAPS``: each bike's gaps, the open one up to today among them.
    prior : BetaPrior
        Chance of being lost after a contact, assumed.
    km_per_day : Series, optional
        Usual km a day by ``unit_id``; a bike whose pace is not known counts as of usual pace.

    Returns
    -------
    Series of the chance, 0 to 1, indexed by ``unit_id``: bikes with an open gap.
    """
    if km_per_day is not None:
        gaps = _at_usual_pace(gaps, km_per_day)
    still_open = gaps["open"].astype(bool)
    closed = np.sort(gaps.loc[~still_open, "gap_days"].to_numpy(float))
    waiting = gaps[still_open].groupby("unit_id")["gap_days"].max()
    if not len(closed):
        return pd.Series(0.0, waiting.index)
    longer = len(closed) - np.searchsorted(closed, waiting.to_numpy(), side="right")
    survival = longer / len(closed)
    total = len(closed) + len(waiting) + prior.hits + prior.misses
    lost = prior.mean
    for _ in range(_MAX_TURNS):
        in_view = (1 - lost) * survival / ((1 - lost) * survival + lost)
        before, lost = lost, (prior.hits + float((1 - in_view).sum())) / total
        if abs(lost - before) < _SETTLED:
            break
    return pd.Series(in_view, waiting.index)


def paces(lives: pd.DataFrame) -> pd.Series:
    """Usual km a day by ``unit_id``, of lives or sensors; blank where not known."""
    if "km_per_day" not in lives.columns:
        return pd.Series(dtype="float64")
    return lives.groupby("unit_id")["km_per_day"].first().astype("float64")


def _at_usual_pace(gaps: pd.DataFrame, km_per_day: pd.Series) -> pd.DataFrame:
    pace = gaps["unit_id"].map(km_per_day).to_numpy(float)
    log_pace = np.log(np.where(pace > 0, pace, np.nan))
    closed = (~gaps["open"].astype(bool) & (gaps["gap_days"] >= _SHORTEST_DAYS)).to_numpy()
    told = closed & np.isfinite(log_pace)
    if told.sum() < 2:
        return gaps
    away = np.nan_to_num(log_pace - log_pace[told].mean())
    log_gap = np.log(gaps["gap_days"].to_numpy(float)[told])
    spread = away[told] @ away[told] + _SLOPE_GAPS * np.var(away[told])
    slope = away[told] @ (log_gap - log_gap.mean()) / spread if spread > 0 else 0.0
    return gaps.assign(gap_days=gaps["gap_days"] * np.exp(-np.clip(slope, _STEEPEST, 0.0) * away))


def followed_on(
    windows: pd.DataFrame, sensors_now: pd.DataFrame, in_view: pd.Series
) -> pd.DataFrame:
    """Lives in service counted in part to today, in part to their last contact.

    A life without a defect or an open doubt on a bike in view with the chance v counts ``times`` v
    as silent until today and 1 - v until its contact. Example: contact at 20,000 km, 24,000 km
    today, v = 0.8: 0.8 lives silent until 24,000 and 0.2 until 20,000 km.
    """
    today = sensors_now.set_index("life_id")["age_now_km"]
    today = today[~today.index.duplicated()].reindex(windows["life_id"]).to_numpy()
    chance = windows["unit_id"].map(in_view).fillna(0.0).to_numpy(float)
    split = windows["bad_km"].isna() & windows["contact_km"].notna() & windows["doubt_km"].isna()
    split &= (today > windows["contact_km"].to_numpy()) & (chance > 0)
    some, v = windows[split], chance[split]
    on = some.assign(times=some["times"] * v, contact_km=today[split])
    off = some.assign(times=some["times"] * (1 - v))
    return pd.concat([windows[~split], on, off[1 - v > 0]], ignore_index=True)
