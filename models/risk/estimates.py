"""The chance of a defect by km ahead, worked out once for all that asks for it."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from models.risk.now import Chances

#: Km ahead at which the chance of a defect is taken, for a sensor left alone; between them it is
#: drawn straight.
ESTIMATE_KM = (
    *(0.0, 500.0, 1_000.0, 2_000.0, 3_000.0, 4_000.0, 5_000.0, 6_000.0, 8_000.0, 10_000.0),
    *(12_500.0, 15_000.0, 20_000.0, 25_000.0, 34_000.0, 48_000.0, 70_000.0, 90_000.0),
)
#: The most that a chance in single precision can be below 1.
MOST = 1 - 2.0**-24


class Estimates(NamedTuple):
    """Chance of a defect with its interval.

    ``km`` of shape (k,) are the km ahead; ``chance``, ``low`` and ``high`` of shape (n, k) by
    sensor, blank where a sensor's is not known.
    """

    km: tuple[float, ...]
    chance: np.ndarray
    low: np.ndarray
    high: np.ndarray

    def take(self, members: np.ndarray) -> Estimates:
        """Those of some sensors."""
        return Estimates(self.km, self.chance[members], self.low[members], self.high[members])

    def at(self, horizons_km: tuple[float, ...]) -> Chances:
        """Chances at some of the km ahead, arrays of shape (n, horizons).

        Raises
        ------
        ValueError
            At one of them none was worked out.
        """
        place = [self.km.index(km) for km in horizons_km]
        return Chances(self.chance[:, place], self.low[:, place], self.high[:, place])
