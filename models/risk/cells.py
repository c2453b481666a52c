"""Ages at which a sensor's defect may lie, and what its record says of each.

Every life is cut into cells of age: up to the last contact at its good tests and at km before that
contact, from there to today, and on ahead, ever wider. A record that fits a defect in a cell with
the chance w weighs the survivor function's share of that cell.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import pandas as pd

from models.risk.delay import silent_chance

#: Good tests counted, the last one and those before; a miss in all is 1 in 1,000 at 0.9.
TESTS_BACK = 3
#: Km before the last contact at which the chance of a silent defect is taken afresh.
_SILENT_CUTS_KM = (1_000, 2_000, 3_500, 5_000, 7_500, 10_000, 15_000, 20_000, 30_000, 50_000)
#: Km ahead at which cells end, apart from those asked for; the last cell has no end. Up to 70,000
#: they are among those at which estimates are asked for, so that these add few.
_AHEAD_KM = (3_000, 15_000, 25_000, 34_000, 48_000, 70_000, 100_000, 160_000, 300_000)
#: Where the last cell, which has no end, is taken to end.
ENDLESS_KM = 1e9


class Cells(NamedTuple):
    """Edges of the cells, shape (n, cells + 1), and chance of the record given a defect in each.

    ``weight`` has the shape (draws, n, cells). A good test counts only against a defect before it.
    """

    edges: np.ndarray
    weight: np.ndarray

    @property
    def middle(self) -> np.ndarray:
        """Age that stands for each cell; for the endless one half as old again as its start."""
        low, high = self.edges[:, :-1], self.edges[:, 1:]
        return np.where(high >= ENDLESS_KM, 1.5 * low, (low + high) / 2)


def cells_in_service(
    sensors: pd.DataFrame,
    gaps_km: np.ndarray,
    s: np.ndarray,
    rate: np.ndarray | None,
    ahead_km: np.ndarray,
) -> Cells:
    """Cells of sensors in service.

    Parameters
    ----------
    sensors : frame of shape (n, ...)
        Columns of ``SENSORS_NOW``.
    gaps_km : array of shape (n, TESTS_BACK)
        Km from the last good test back to each of the last; NaN where there was none.
    s, rate : arrays of shape (draws,)
        Sensitivity of a test, and rate per km at which a defect is heard of (None: never).
    ahead_km : array
        Km ahead at which cells must end.
    """
    good = sensors["good_km"].to_numpy(float)
    began = np.where(_repaired(sensors), sensors["entry_km"].to_numpy(float), 0.0)
    age = np.fmax(sensors["age_now_km"].to_numpy(float), good)
    tests = _tests(good, gaps_km, sensors["entry_km"].to_numpy(float))
    contact = _contact(sensors, age, good, began, rate)
    thirds = contact[:, None] + (age - contact)[:, None] * np.array([1 / 3, 2 / 3, 1.0])
    ahead = age[:, None] + np.union1d(ahead_km, _AHEAD_KM)
    edges = _edges(began, tests, contact, rate, np.hstack([thirds, ahead]))
    return Cells(edges, _weight(edges, tests, contact, s, rate))


def cells_of_found(
    lives: pd.DataFrame, gaps_km: np.ndarray, s: np.ndarray, rate: np.ndarray | None
) -> Cells:
    """Cells of lives in which a defect was found at ``bad_km``: none beyond that."""
    bad, entry = lives["bad_km"].to_numpy(float), lives["entry_km"].to_numpy(float)
    began = np.where(_repaired(lives), entry, 0.0)
    tests = _tests(lives["good_km"].to_numpy(float), gaps_km, entry)
    edges = _edges(began, tests, bad, rate, bad[:, None] + np.array([[1.0]]))
    weight = _weight(edges, tests, bad, s, rate)
    return Cells(edges, weight * (edges[:, 1:] <= bad[:, None] + 1e-6))


def survivor_shares(at: np.ndarray, frame: pd.DataFrame) -> np.ndarray:
    """Share of the survivor function in each cell, by the cumulative hazard at the cells' edges.

    A life begun by cleaning is taken to begin sound; any other was sound when new, at age 0, and is
    taken to be in use without the defect at first sight (to which shares are then relative) only
    if a test bears it out.

    Parameters
    ----------
    at : array of shape (draws, n, cells + 1, m)
        Cumulative hazard.
    frame : frame of shape (n, ...)
        ``repaired`` and ``good_km`` (blank where no good test).

    Returns
    -------
    array of shape (draws, n, cells, m)
    """
    repaired, tested = _repaired(frame), frame["good_km"].notna().to_numpy()
    began = at[:, :, :1]
    sound = np.where(repaired[:, None, None], began, 0.0)
    start = np.where((repaired | tested)[:, None, None], began, 0.0)
    survivor = np.empty_like(at)
    survivor[:, :, :1] = sound
    np.maximum(at[:, :, 1:], sound, out=survivor[:, :, 1:])
    np.subtract(start, survivor, out=survivor)
    np.exp(survivor, out=survivor)
    return survivor[:, :, :-1] - survivor[:, :, 1:]


def _repaired(frame: pd.DataFrame) -> np.ndarray:
    flag = frame["repaired"]
    if flag.dtype == bool:  # asked of many parts of the same sensors
        return flag.to_numpy()
    return flag.astype("boolean").fillna(False).to_numpy(dtype=bool)


def _tests(good: np.ndarray, gaps_km: np.ndarray, entry: np.ndarray) -> np.ndarray:
    tests = good[:, None] - gaps_km
    tests[:, 1:] = np.where(tests[:, 1:] >= entry[:, None], tests[:, 1:], np.nan)
    return tests


def _contact(
    sensors: pd.DataFrame,
    age: np.ndarray,
    good: np.ndarray,
    began: np.ndarray,
    rate: np.ndarray | None,
) -> np.ndarray:
    """Age up to which a defect would have had the time to be heard of, at least the last test."""
    seen = np.fmax(began, good)
    if rate is None or "contact_km" not in sensors.columns:
        return np.minimum(seen, age)
    return np.clip(np.fmax(sensors["contact_km"].to_numpy(float), seen), began, age)


def _edges(
    began: np.ndarray,
    tests: np.ndarray,
    contact: np.ndarray,
    rate: np.ndarray | None,
    later: np.ndarray,
) -> np.ndarray:
    cuts = contact[:, None] - np.asarray(() if rate is None else _SILENT_CUTS_KM)
    inner = np.where(np.isnan(tests), began[:, None], tests)
    before = np.hstack([began[:, None], inner, cuts, contact[:, None]])
    before = np.sort(np.clip(before, began[:, None], contact[:, None]), axis=1)
    endless = np.full((len(began), 1), ENDLESS_KM)
    return np.hstack([before, np.sort(later, axis=1), endless])


def _weight(
    edges: np.ndarray,
    tests: np.ndarray,
    contact: np.ndarray,
    s: np.ndarray,
    rate: np.ndarray | None,
) -> np.ndarray:
    low, high = edges[:, :-1], edges[:, 1:]
    missed = (tests[:, None, :] >= high[:, :, None]).sum(axis=2)
    weight = ((1 - s)[:, None] ** np.arange(TESTS_BACK + 1))[:, missed]
    if rate is None:
        return weight
    near, far = contact[:, None] - high, contact[:, None] - low
    before = near >= 0
    silent = silent_chance(
        np.where(before, near, 0.0), np.where(before, far, 0.0), rate[:, None, None]
    )
    return weight * np.where(before, silent, 1.0)
