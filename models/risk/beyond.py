"""What the tests of observed lives tell the fit of the hazard.

A life's record says that its defect came in one of several windows, or has not come by the last
contact. Each of these is weighed by the likelihood of the life's tests were it so. For a life
without a defect the age at it lies beyond, so that the likelihood is averaged over the ages ahead,
by the hazard itself: with S the survivor function from the last contact on, cut into stretches,

    F = sum over stretches of (S(a) - S(b)) L(tests | defect in the stretch).

The stretches ahead take part in the EM as those of the record do. This is what makes the fit hold
where sensors are tested, or taken off, because of what they read: given the readings such an end
says no more about the defect (missing at random: Rubin, Biometrika 63 (1976) 581, from memory).
"""

from __future__ import annotations

from dataclasses import replace
from typing import NamedTuple, Protocol

import numpy as np
import pandas as pd

from models.risk.expectation import Expected, Records
from models.risk.lives import Rows

#: Ends of the stretches ahead, as shares of the age at the last contact, or of this many km.
_AHEAD = np.array([0.0, 0.07, 0.18, 0.35, 0.65, 1.2])
_LEAST_AGE_KM = 20_000.0
#: Where the stretch without an end is looked at.
_ENDLESS = 1.8
_SAME = 1e-9


class Evidence(Protocol):
    """What the tests of lives say of where their defect lies."""

    def log_likelihood(
        self, lives: pd.DataFrame, life: np.ndarray, defect_km: np.ndarray, shift_km: np.ndarray
    ) -> np.ndarray:
        """Log likelihood of the tests of life ``life`` were its defect at ``defect_km``."""
        ...


class Ahead(NamedTuple):
    """Columns and assumed rates of the stretches beyond the lives' last contacts, by pair."""

    design: np.ndarray
    assumed: np.ndarray

    def hazard(self, coef: np.ndarray) -> np.ndarray:
        """Hazard per km of each pair."""
        return self.assumed * np.exp(np.clip(self.design @ coef, -60, 60))

    def joined(
        self, design: np.ndarray, assumed: np.ndarray, expected: Expected, later: Expected
    ) -> tuple[np.ndarray, Expected, np.ndarray]:
        """What the M-step takes, of the record and of what lies beyond it."""
        both = expected._replace(
            events=np.append(expected.events, later.events),
            exposure=np.append(expected.exposure, later.exposure),
        )
        return np.vstack([design, self.design]), both, np.append(assumed, self.assumed)


class Beyond:
    """Rows weighed by the likelihood of their life's tests, and the stretches ahead of the others.

    Parameters
    ----------
    lives : frame
        As ``checked_lives`` gives them.
    rows : Rows
        Of these lives.
    group : array of shape (rows,)
        Number of each row's set of covariates.
    evidence : Evidence

    Attributes
    ----------
    rows : Rows
        The same with their weights times that likelihood where it does not hang on the hazard.
    """

    def __init__(self, lives: pd.DataFrame, rows: Rows, group: np.ndarray, evidence: Evidence):
        shift = rows.entry - lives["entry_km"].to_numpy()[rows.life]
        defect = ~np.isnan(rows.bad) | rows.before
        without = np.flatnonzero(~defect)
        middle = np.where(rows.before, rows.entry, (rows.good + rows.bad) / 2)
        told = np.zeros(len(rows.life))
        some = np.flatnonzero(defect)
        told[some] = evidence.log_likelihood(lives, rows.life[some], middle[some], shift[some])
        steps = np.maximum(rows.good[without], _LEAST_AGE_KM)[:, None]
        cuts = rows.good[without][:, None] + steps * np.append(_AHEAD, _ENDLESS)
        looked = np.hstack([(cuts[:, 1:-1] + cuts[:, :-2]) / 2, cuts[:, -1:]])
        count = looked.shape[1]
        ahead = evidence.log_likelihood(
            lives,
            np.repeat(rows.life[without], count),
            looked.ravel(),
            np.repeat(shift[without], count),
        ).reshape(looked.shape)
        top = np.full(len(lives), -np.inf)
        np.maximum.at(top, rows.life[some], told[some])
        np.maximum.at(top, rows.life[without], ahead.max(axis=1))
        told[some] -= top[rows.life[some]]
        ahead -= top[rows.life[without]][:, None]
        varied = np.ptp(ahead, axis=1) > _SAME
        told[without[~varied]] = ahead[~varied, 0]
        self.rows = replace(rows, weight=rows.weight * np.exp(told))
        self.without, cuts, ahead = without[varied], cuts[varied, :-1], ahead[varied]
        self._rows, self._group = _stretches(rows, self.without, cuts, ahead), group[self.without]

    @property
    def oldest_km(self) -> float:
        """Age to which the grid must reach."""
        return float(np.max(self._rows.good, initial=0.0))

    def lay(self, edges: np.ndarray) -> Records:
        """Cut the stretches by a grid; kept for what follows."""
        self.records = Records(self._rows, self._group[self._rows.life], edges)
        return self.records

    def factor(self, hazard: np.ndarray) -> np.ndarray:
        """Logarithm of F of each row in ``without``, at a hazard per km of each pair."""
        return self.records.shares(hazard)[1]

    def expect(self, hazard: np.ndarray, weight: np.ndarray) -> Expected:
        """Expected events and exposure ahead, each row in ``without`` counting ``weight``."""
        self.records.rows = replace(self.records.rows, times=weight[self._rows.life])
        return self.records.expect(hazard)


def _stretches(rows: Rows, without: np.ndarray, cuts: np.ndarray, ahead: np.ndarray) -> Rows:
    """A row a stretch; the last has no end. ``life`` is the place in ``without``."""
    n, count = ahead.shape
    of = np.repeat(np.arange(n), count)
    blank = np.full(n * count, np.nan)
    ends = np.hstack([cuts[:, 1:], np.full((n, 1), np.nan)])
    return Rows(
        entry=rows.good[without][of],
        good=cuts.ravel(),
        bad=ends.ravel(),
        life=of,
        unit=rows.unit[without][of],
        weight=np.exp(ahead).ravel(),
        near=blank,
        far=blank,
        heard=np.zeros(n * count, dtype=bool),
        times=np.ones(n * count),
        missed=np.zeros(n * count, dtype=bool),
        before=np.zeros(n * count, dtype=bool),
    )
