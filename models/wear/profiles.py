"""Each travel bin of a test by itself: what it showed, and how rough sound sensors are there."""

from __future__ import annotations

import numpy as np
import pandas as pd

from models.wear.exposure import BIN_PCT, BINS
from models.wear.records import WearRecords
from models.wear.schemas import PROFILES, ROUGHNESS_BAND

#: Sensors without which a bin has no range (assumed).
LEAST_SENSORS = 10
#: Shares of the sensors below the lower end, the middle and the upper end.
_SHARES = (0.05, 0.5, 0.95)


def profiles_of(records: WearRecords) -> pd.DataFrame:
    """What each bin of each test could have shown and showed: frame of ``PROFILES``."""
    n = len(records)
    rows = {
        "session_id": records.tests["session_id"].repeat(BINS).to_numpy(),
        "bin_from_pct": np.tile(np.arange(BINS) * BIN_PCT, n),
        "exposure": records.exposure.ravel(),
        "dropout_count": records.counts.ravel(),
        "roughness": records.roughness.ravel(),
    }
    return PROFILES.check(pd.DataFrame(rows))


class SoundRoughness:
    """How rough sensors are in each bin that passed without a defect, counted by and by.

    Of each sensor and bin counts the last of its passed tests that knows it: one test a sensor,
    since a range of means would be too narrow for a test to be held against.

    Parameters
    ----------
    tests : frame of ``WEAR_TESTS``
        All tests, in the order in which they are counted.
    passed_turn : array of shape (n,)
        Place of each test in time from 1, and 0 of one that did not pass.
    """

    def __init__(self, tests: pd.DataFrame, passed_turn: np.ndarray):
        self._turn = np.asarray(passed_turn, dtype=np.int32)
        passed = self._turn > 0
        self._sensor = np.full(len(tests), -1, dtype=np.int32)
        self._sensor[passed], names = pd.factorize(tests["sensor_id"][passed])
        first = np.unique(self._sensor[passed], return_index=True)[1]
        self._part_no = tests["part_no"][passed].iloc[first].to_numpy(object)
        shape = (len(names), BINS)
        self._latest, self._at = np.full(shape, np.nan, np.float32), np.zeros(shape, np.int32)
        self._counted = 0

    def count(self, records: WearRecords) -> None:
        """Count the next tests, in the order in which they stand among all."""
        rows = slice(self._counted, self._counted + len(records))
        turn, sensor = self._turn[rows], self._sensor[rows]
        passed = np.flatnonzero(turn > 0)
        # a sensor's first test of these, then the second of each, and so on
        place = pd.Series(sensor[passed]).groupby(sensor[passed]).cumcount().to_numpy()
        for number in range(int(place.max(initial=-1)) + 1):
            own = passed[place == number]
            self._take(sensor[own], turn[own, None], records.roughness[own])
        self._counted = rows.stop

    def _take(self, sensor: np.ndarray, turn: np.ndarray, roughness: np.ndarray) -> None:
        """Tests of different sensors, one of each."""
        later = np.isfinite(roughness) & (turn > self._at[sensor])
        self._latest[sensor] = np.where(later, roughness, self._latest[sensor])
        self._at[sensor] = np.where(later, turn, self._at[sensor])

    def frame(self) -> pd.DataFrame:
        """Frame of ``ROUGHNESS_BAND`` by part number and bin, once all tests are counted."""
        frames = [ROUGHNESS_BAND.empty()]
        for part_no in sorted(set(self._part_no)):
            known = self._latest[self._part_no == part_no].astype(float)
            count = np.isfinite(known).sum(axis=0)
            bins = np.flatnonzero(count >= LEAST_SENSORS)
            if len(bins):
                frames.append(_ranges(known[:, bins], count[bins], part_no, bins))
        return ROUGHNESS_BAND.check(pd.concat(frames, ignore_index=True))


def _ranges(known: np.ndarray, count: np.ndarray, part_no: str, bins: np.ndarray) -> pd.DataFrame:
    low, middle, high = np.nanquantile(known, _SHARES, axis=0)
    rows = {"part_no": part_no, "bin_from_pct": bins * BIN_PCT}
    rows |= {"low": low, "middle": middle, "high": high, "sensor_count": count}
    return ROUGHNESS_BAND.check(pd.DataFrame(rows))
