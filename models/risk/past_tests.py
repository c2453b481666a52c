"""How past tests, and what led to them, weigh the ages at which a defect may come."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import pandas as pd

from models.risk.cells import TESTS_BACK
from models.risk.complaints import Complaints, complaints_log_likelihood, complaints_of
from models.risk.course import Course, LifeReadings
from models.risk.growth import WearGrowth

#: Rows whose likelihood is worked out at a time, for the memory's sake.
_MOST_ROWS = 50_000


class Read(NamedTuple):
    """What past tests tell of some sensors, and how that bears on when their defect comes.

    ``growth`` is None where it does not; ``moved_km`` of shape (n, 1, 1), by how much the sensors'
    ages are set otherwise than they were when read; ``courses`` the growth's course and draws of
    it; ``complaints`` those whose test passed, None where no rate of them is known.
    """

    growth: WearGrowth | None
    readings: LifeReadings | None = None
    moved_km: np.ndarray | float = 0.0
    courses: tuple[Course, ...] = ()
    complaints: Complaints | None = None

    def take(self, members: np.ndarray) -> Read:
        """That of some sensors."""
        if self.growth is None or self.readings is None:
            return self
        moved = self.moved_km if np.isscalar(self.moved_km) else self.moved_km[members]
        felt = None if self.complaints is None else self.complaints.take(members)
        return Read(self.growth, self.readings.take(members), moved, self.courses, felt)

    def with_courses(self, n_draws: int, seed: int) -> Read:
        """The same with the course fitted and so many draws of it."""
        if self.growth is None:
            return self
        return self._replace(courses=tuple(self.growth.courses(n_draws, seed)))

    def weigh(self, chance: np.ndarray, defect_km: np.ndarray, shift_km: np.ndarray) -> None:
        """Multiply chances (draws, n, cells, m) by the likelihood of the tests, in place.

        The first draw has the course as fitted; the others share the courses drawn, turn by turn.
        Ages ``defect_km`` (n, cells, m) are those set for today, ``shift_km`` (m,) among them.
        """
        if self.growth is None:
            return
        at = defect_km + self.moved_km
        if self.complaints is not None:
            rates = self.growth.complaint_rates_
            chance *= _scaled(complaints_log_likelihood(rates, self.complaints, at, shift_km))
        drawn = self.growth.log_likelihoods(self.readings, at, shift_km, self.courses)
        for k, given in enumerate(drawn):
            some = slice(0, 1) if k == 0 else slice(k, None, len(self.courses) - 1)
            chance[some] *= _scaled(given)


class LifeEvidence:
    """What the tests of observed lives say of where their defect lies, for the hazard's fit.

    Parameters
    ----------
    growth : WearGrowth
        How readings grow, and at which rates sensors are complained of.
    wear_readings : frame
        Columns of ``WEAR_READINGS``.
    """

    def __init__(self, growth: WearGrowth, wear_readings: pd.DataFrame):
        self.growth, self.wear_readings = growth, wear_readings

    def log_likelihood(
        self, lives: pd.DataFrame, life: np.ndarray, defect_km: np.ndarray, shift_km: np.ndarray
    ) -> np.ndarray:
        """Log likelihood of a life's tests were its defect at an age.

        Parameters
        ----------
        lives : frame of shape (lives, ...)
            As ``checked_lives`` gives them.
        life : array of int, shape (rows,)
            Place of the life.
        defect_km, shift_km : arrays of shape (rows,)
            Age at the defect, and what it adds to the life's own ages.
        """
        total, growth = np.zeros(len(life)), self.growth
        readings, rates = growth.life_readings(lives, self.wear_readings), growth.complaint_rates_
        felt = None
        if rates is not None and rates[1]:
            felt = complaints_of(lives, self.wear_readings)
        for shift in np.unique(shift_km):
            rows = np.flatnonzero(shift_km == shift)
            for some in np.array_split(rows, len(rows) // _MOST_ROWS + 1):
                at, moved = defect_km[some][:, None, None], np.array([shift])
                own = growth.log_likelihood(readings.take(life[some]), at, moved)
                if felt is not None:
                    own = own + complaints_log_likelihood(rates, felt.take(life[some]), at, moved)
                total[some] = own[:, 0, 0]
        return total


def read_of(
    sensors_now: pd.DataFrame,
    wear_readings: pd.DataFrame | None,
    growth: WearGrowth | None,
    moved_km: np.ndarray | None,
) -> Read:
    """What the past tests of sensors in service tell, without draws of the course."""
    if wear_readings is None or growth is None:
        return Read(None)
    rates = growth.complaint_rates_
    if growth.course_ is None and rates is None:
        return Read(None)
    felt = None if rates is None or not rates[1] else complaints_of(sensors_now, wear_readings)
    moved = 0.0 if moved_km is None else -np.asarray(moved_km)[:, None, None]
    return Read(growth, growth.life_readings(sensors_now, wear_readings), moved, (), felt)


def good_test_gaps(
    sensors_now: pd.DataFrame, wear_readings: pd.DataFrame | None, spacing_km: float
) -> np.ndarray:
    """Km from each sensor's last good test back to it and the two before it, shape (n, 3).

    From the tests on record; where none is given, ``spacing_km`` apart. NaN where there was none.
    """
    gaps = np.tile(spacing_km * np.arange(TESTS_BACK, dtype=float), (len(sensors_now), 1))
    if wear_readings is None:
        return gaps
    place = pd.DataFrame(
        {
            "life_id": sensors_now["life_id"].to_numpy(),
            "row": np.arange(len(sensors_now)),
            "good_km": sensors_now["good_km"].to_numpy(float),
        }
    )
    tests = place.merge(good_tests(wear_readings)[["life_id", "read_km"]], on="life_id")
    tests["gap"] = tests["good_km"] - tests["read_km"]
    tests = tests[tests["gap"] > 0].sort_values(["row", "gap"], kind="stable")
    turn = tests.groupby("row").cumcount().to_numpy() + 1
    gaps[:, 1:] = np.nan
    used = turn < TESTS_BACK
    gaps[tests["row"].to_numpy()[used], turn[used]] = tests["gap"].to_numpy()[used]
    return gaps


def good_tests(wear_readings: pd.DataFrame) -> pd.DataFrame:
    """Tests that found the sensor without the defect."""
    return wear_readings[wear_readings["passed"].astype("boolean").fillna(False).astype(bool)]


def _scaled(log_likelihood: np.ndarray) -> np.ndarray:
    """Likelihood over the greatest of each sensor."""
    return np.exp(log_likelihood - log_likelihood.max(axis=(1, 2), keepdims=True))
