"""Odometer readings of bikes, and the days and km between those that count."""

from __future__ import annotations

import datetime as dt
from typing import NamedTuple

import numpy as np
import pandas as pd

from models.frames import Column
from models.risk.schemas import RecordSchema

#: Readings nearer to each other are thinned to the last; older ones hardly weigh.
_THIN_DAYS, _LOOK_BACK_HALF_LIVES = 7.0, 6.0

ODOMETER_READINGS = RecordSchema(
    "odometer_readings",
    "one odometer reading of one bike on one day",
    (
        Column("unit_id", "text", "the bike"),
        Column("read_on", "date", "day of the reading"),
        Column("odometer_km", "number", "reading", "km"),
        Column("ridden_as", "text", "bikes that are ridden alike: fleet, else duty", blank=True),
    ),
    may_lack=("ridden_as",),
)


class OdometerError(ValueError):
    """Readings of one bike contradict one another; the message names them."""


class BikeReadings(NamedTuple):
    """Odometer readings of some bikes, each bike's together, one a day and by day.

    ``unit_ids`` of shape (bikes,) are their names and ``ridden_as`` of shape (bikes,) how each is
    ridden, None where not known; ``count`` of shape (bikes,) says how many readings each has.
    ``day`` (from 1970-01-01) and ``km`` are of shape (readings,).
    """

    unit_ids: np.ndarray
    ridden_as: np.ndarray
    count: np.ndarray
    day: np.ndarray
    km: np.ndarray

    @property
    def bike(self) -> np.ndarray:
        """Place of each reading's bike."""
        return np.repeat(np.arange(len(self.count)), self.count)

    @property
    def last(self) -> np.ndarray:
        """Place of each bike's last reading."""
        return np.cumsum(self.count) - 1

    def until(self, as_of: dt.date) -> BikeReadings:
        """Without later readings, nor bikes that then have none.

        Raises
        ------
        OdometerError
            A reading is lower than an earlier one of the bike.
        """
        past = self.day <= _day(as_of)
        count = np.bincount(self.bike[past], minlength=len(self.count))
        some = count > 0
        kept = BikeReadings(
            self.unit_ids[some], self.ridden_as[some], count[some], self.day[past], self.km[past]
        )
        kept._refuse_back()
        return kept

    def days_since_last(self, as_of: dt.date) -> np.ndarray:
        """Days from each bike's last reading to a day."""
        return (_day(as_of) - self.day[self.last]).astype(float)

    def _refuse_back(self) -> None:
        bike = self.bike
        back = np.flatnonzero((np.diff(bike) == 0) & (np.diff(self.km) < 0))
        if len(back):
            before = int(back[0])
            read = [np.datetime64(int(self.day[k]), "D") for k in (before, before + 1)]
            raise OdometerError(
                f"odometer_readings: {self.unit_ids[bike[before]]}: {self.km[before + 1]:g} km on "
                f"{read[1]}, expected at least the {self.km[before]:g} km of {read[0]}"
            )


def bike_readings(readings: pd.DataFrame) -> BikeReadings:
    """From a frame in the columns of ``ODOMETER_READINGS``, in any order.

    Of several readings on one day the highest counts.
    """
    told = ODOMETER_READINGS.check(readings)
    ordered = told.sort_values(["unit_id", "read_on", "odometer_km"], kind="stable")
    kept = ordered.drop_duplicates(["unit_id", "read_on"], keep="last").reset_index(drop=True)
    bikes = kept.groupby("unit_id", sort=True).agg(
        ridden_as=("ridden_as", "last"), count=("read_on", "size")
    )
    ridden_as = bikes["ridden_as"].astype(object)
    return BikeReadings(
        bikes.index.to_numpy(dtype=object),
        ridden_as.where(ridden_as.notna(), None).to_numpy(dtype=object),
        bikes["count"].to_numpy(dtype=int),
        kept["read_on"].to_numpy().astype("datetime64[D]").astype(int),
        kept["odometer_km"].to_numpy(dtype=float),
    )


def stretches_of(readings: BikeReadings, half_life_days: float) -> pd.DataFrame:
    """Days and km between readings that count, oldest first.

    Returns
    -------
    frame with ``unit_id`` (the bike's place), ``days``, ``km`` and ``to_end``, the days from the
    stretch's end to the bike's last reading.
    """
    bike = readings.bike
    ago = np.repeat(readings.day[readings.last], readings.count) - readings.day.astype(float)
    counts = (ago <= _LOOK_BACK_HALF_LIVES * half_life_days) | (ago <= _newest_pair(ago, bike))
    week, some = np.ceil(ago / _THIN_DAYS), np.flatnonzero(counts)
    other = (np.diff(bike[some]) != 0) | (np.diff(week[some]) != 0)
    some = some[np.append(other, True)[: len(some)]]  # the last of each week
    pair = np.flatnonzero(np.diff(bike[some]) == 0)
    start, end = some[pair], some[pair + 1]
    return pd.DataFrame(
        {
            "unit_id": bike[end],
            "days": ago[start] - ago[end],
            "km": readings.km[end] - readings.km[start],
            "to_end": ago[end],
        }
    )


def _newest_pair(ago: np.ndarray, bike: np.ndarray) -> np.ndarray:
    """Days back to the newest reading a week or more before the last: a rate needs two."""
    least = np.full(int(bike[-1]) + 1 if len(bike) else 0, np.inf)
    earlier = ago >= _THIN_DAYS
    np.minimum.at(least, bike[earlier], ago[earlier])
    return least[bike]


def _day(date: dt.date) -> int:
    return int(np.datetime64(date, "D").astype(int))
