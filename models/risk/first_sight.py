"""Sensors in use when first seen: without the defect then, or with one not yet heard of.

With S the survivor function, r the rate at which a defect is heard of and a the age at first sight,
the odds that a sensor in use has the defect already are

    D(a) = sum over stretches (b, c] up to a of (S(b) - S(c)) / S(a) x Q,

Q the mean of exp(-r (a - u)) over the stretch. Held against its record, such a life stayed silent
for as long as it was watched and each good test missed the defect. It says nothing of the hazard
after first sight, and so takes its share of the life's weight away from the rows that do: the score
of what came after, given that the sensor was then without the defect, times the chance of that
given the record, has the mean nought. What first sight says of the hazard before is left out.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pandas as pd

from models.risk.delay import silent_chance
from models.risk.lives import Rows, last_known

#: Km before first sight at which the chance of a silent defect is taken afresh; then to age 0.
_CUTS_KM = np.array([0, 500, 1_000, 2_000, 3_500, 5_000, 7_500, 11_000, 16_000, 25_000, 1e9])


class FirstSight:
    """The rows of lives that had the defect when first seen, and what they weigh.

    Parameters
    ----------
    lives : frame
        As ``checked_lives`` gives them.
    rows : Rows
        Of these lives.
    sensitivity : float
        Share of defective sensors in which a test finds the defect.

    Attributes
    ----------
    row : array
        Places of these rows.
    since_km : array
        Km from first sight to the life's end or last contact.
    """

    def __init__(self, lives: pd.DataFrame, rows: Rows, sensitivity: float):
        self.row = np.flatnonzero(rows.before)
        life = lives.iloc[rows.life[self.row]]
        entry = life["entry_km"].to_numpy()
        self.since_km = last_known(life).to_numpy() - entry
        tested = (life["good_km"] > entry) | life["earlier_km"].notna()
        tests = tested.to_numpy(int) + (life["earlier_km"] > entry).to_numpy(int)
        self.missed, self.heard = (1.0 - sensitivity) ** tests, rows.heard[self.row]
        age = rows.entry[self.row][:, None]
        self.ages = np.maximum(age - _CUTS_KM, 0.0)
        self.near, self.far = age - self.ages[:, :-1], age - self.ages[:, 1:]

    def odds(self, cumulative: Callable[[np.ndarray], np.ndarray], rate: float) -> np.ndarray:
        """D of each row, by the cumulative hazard of each row (rows, ages)."""
        at = cumulative(self.ages)
        before = np.exp(at[:, :1] - at)
        return ((before[:, 1:] - before[:, :-1]) * silent_chance(self.near, self.far, rate)).sum(1)

    def weigh(self, cumulative: Callable[[np.ndarray], np.ndarray], rate: float) -> np.ndarray:
        """Chance of each row's record, against a sensor's without the defect at first sight."""
        silent = np.exp(-rate * self.since_km) * np.where(self.heard, rate, 1.0)
        return self.odds(cumulative, rate) * self.missed * silent
