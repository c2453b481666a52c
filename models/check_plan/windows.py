"""On which days ahead a bike can come in."""

from __future__ import annotations

from datetime import date, timedelta

import numpy as np
import pandas as pd


def working_days(
    as_of: date, weeks_ahead: int, days_of_week: tuple[int, ...], closed: tuple[date, ...] = ()
) -> np.ndarray:
    """Working days ahead as whole days from the as-of day, tomorrow being 1.

    Parameters
    ----------
    as_of : date
        The as-of day.
    weeks_ahead : int
        Weeks to look ahead.
    days_of_week : tuple of int
        Days on which shops check, Monday being 0.
    closed : tuple of date
        Days on which they are closed all the same.
    """
    ahead = np.arange(1, 7 * weeks_ahead + 1)
    open_then = np.isin((as_of.weekday() + ahead) % 7, days_of_week)
    return ahead[open_then & ~np.isin(ahead, [(day - as_of).days for day in closed])]


def free_days(
    bikes: pd.DataFrame, windows: pd.DataFrame, as_of: date, days: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Whether each bike can be spared on each day, and whether it must keep to windows.

    A bike with windows comes only inside them. A fleet that has handed in a window for any of its
    bikes is taken to hand in all: its bikes without one ahead do not come. A private bike without
    windows, and a bike of a fleet that has handed in none, comes on any working day.

    Parameters
    ----------
    bikes : frame of shape (n, ...)
        Columns of ``CHECK_BIKES``.
    windows : frame of shape (w, ...)
        Columns of ``CHECK_WINDOWS``, both days included; they may overlap.
    as_of : date
        The as-of day.
    days : array of int, shape (days,)
        Days from the as-of day.

    Returns
    -------
    free : array of bool, shape (n, days)
    bound : array of bool, shape (n,)
    """
    first, last = (_days_from(windows[name], as_of) for name in ("free_from", "free_to"))
    row = pd.Index(bikes["unit_id"]).get_indexer(windows["unit_id"])
    free = np.zeros((len(bikes), len(days)), dtype=bool)
    ours = np.flatnonzero(row >= 0)
    inside = (days >= first[ours, None]) & (days <= last[ours, None])
    np.logical_or.at(free, row[ours], inside)
    fleet = bikes["fleet_id"]
    hands_in = fleet.notna() & fleet.isin(set(fleet.iloc[row[ours]].dropna()))
    own = np.zeros(len(bikes), dtype=bool)
    private = fleet.isna().to_numpy()[row[ours]]
    # a private bike whose windows have all passed can be called on any day again
    own[row[ours][~private | (last[ours] >= 1)]] = True
    bound = own | hands_in.to_numpy(dtype=bool)
    return free | ~bound[:, None], bound


def day_of(as_of: date, days: int) -> date:
    """The day so many days from the as-of day."""
    return as_of + timedelta(days=int(days))


def _days_from(values: pd.Series, as_of: date) -> np.ndarray:
    return (pd.to_datetime(values) - pd.Timestamp(as_of)).dt.days.to_numpy()
