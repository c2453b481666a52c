"""Likelihood of interval-censored lives under a hazard that is constant within each cell.

With hazard ``rate[j] * ratio[i]`` per km in cell j for row i, the cells' event counts and exposures
are those of a Poisson model (Holford, Biometrics 36 (1980) 299). Where a defect is only known to
lie in a window, the E-step of the EM algorithm replaces its cell and its exposure by their
expectations given the window (Dempster, Laird & Rubin, JRSS B 39 (1977) 1; Finkelstein,
Biometrics 42 (1986) 845).
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from scipy import sparse

from models.risk.delay import silent_chance, silent_km
from models.risk.lives import Overlap, Rows, cell_of, overlap


class Expected(NamedTuple):
    """Expected events and exposure (km) by pattern and cell, and the log likelihood."""

    events: np.ndarray
    exposure: np.ndarray
    log_likelihood: float
    weight: np.ndarray


class Records:
    """Rows cut into the cells of one grid, ready for repeated E-steps.

    Parameters
    ----------
    rows : Rows
    pattern : array of shape (rows,)
        Number of each row's covariate pattern.
    edges : array of shape (cells + 1,)
        Edges of the cells, km, covering all ages.
    """

    def __init__(self, rows: Rows, pattern: np.ndarray, edges: np.ndarray):
        self.rows, self.pattern, self.edges = rows, pattern, edges
        self.cells = len(edges) - 1
        self.sure = overlap(rows.entry, rows.good, edges)
        inside = np.flatnonzero(rows.window)
        self.inside = inside
        self.unsure = overlap(rows.good[inside], rows.bad[inside], edges)
        self.exact = np.flatnonzero(rows.exact)
        self.exact_cell = cell_of(rows.bad[self.exact], edges)
        self.patterns = int(pattern.max()) + 1 if len(pattern) else 0
        self.prior = rows.weight
        self.delayed = np.flatnonzero(~np.isnan(rows.near))

    def set_delay(self, rate: float) -> None:
        """Weigh the pieces of windows by the delay until a defect is heard of (rate per km)."""
        rows, some = self.rows, self.delayed
        factor = silent_chance(rows.near[some], rows.far[some], rate)
        self.prior = rows.weight.copy()
        self.prior[some] *= factor * np.where(rows.heard[some], rate, 1.0)

    def km_with_defect(self, weight: np.ndarray, rate: float) -> float:
        """Expected km, over all lives, from the defect to the end of its window."""
        some = self.delayed
        return float(weight[some] @ silent_km(self.rows.near[some], self.rows.far[some], rate))

    def expect(self, rate: np.ndarray, ratio: np.ndarray) -> Expected:
        """E-step at a hazard of ``rate`` (cells, per km) times ``ratio`` (patterns)."""
        relative = ratio[self.pattern]
        chance = self._log_chance(rate, relative)
        weight, log_likelihood = self._weights(chance)
        events, exposure = self._window_parts(rate, relative)
        inside = self.inside[self.unsure.row]
        table_events = self._table(inside, self.unsure.cell, events * weight[inside])
        table_events += self._table(self.exact, self.exact_cell, weight[self.exact])
        table_exposure = self._table(inside, self.unsure.cell, exposure * weight[inside])
        sure = self.sure
        table_exposure += self._table(sure.row, sure.cell, sure.km * weight[sure.row])
        return Expected(table_events, table_exposure, log_likelihood, weight)

    def scores(
        self, rate: np.ndarray, ratio: np.ndarray, base: np.ndarray, other: np.ndarray
    ) -> np.ndarray:
        """Gradient of each row's log likelihood, shape (rows, columns).

        By Fisher's identity the expectation of events less expected events, times the columns:
        ``base`` (cells, ...) and ``other`` (patterns, ...).
        """
        relative = ratio[self.pattern]
        events, exposure = self._window_parts(rate, relative)
        inside, cell = self.inside[self.unsure.row], self.unsure.cell
        sure = self.sure
        row = np.concatenate([inside, self.exact, sure.row])
        column = np.concatenate([cell, self.exact_cell, sure.cell])
        residual = np.concatenate(
            [
                events - rate[cell] * relative[inside] * exposure,
                np.ones(len(self.exact)),
                -rate[sure.cell] * relative[sure.row] * sure.km,
            ]
        )
        table = self._sparse(row, column, residual, len(self.pattern))
        return np.hstack([table @ base, _row_sums(table) * other[self.pattern]])

    def information(
        self,
        rate: np.ndarray,
        ratio: np.ndarray,
        base: np.ndarray,
        other: np.ndarray,
        weight: np.ndarray,
    ) -> np.ndarray:
        """Observed information of the coefficients, given the weights of the rows.

        With d the cumulative hazard of a window and c = 1 / (exp(d) - 1), a row's log likelihood is
        -(hazard to good_km) + log(1 - exp(-d)); its second derivative is
        -(hazard)'' + c d'' - c (1 + c) d' d'.
        """
        relative = ratio[self.pattern]
        span = self._window_hazard(rate, relative)
        c = 1.0 / np.expm1(np.maximum(span, 1e-12))
        inside, sure = self.inside[self.unsure.row], self.sure
        km = self._table(sure.row, sure.cell, sure.km * weight[sure.row])
        km -= self._table(
            inside, self.unsure.cell, self.unsure.km * (c * weight[self.inside])[self.unsure.row]
        )
        total = _quadratic(km * rate * ratio[:, None], base, other)
        x = rate[self.unsure.cell] * relative[inside] * self.unsure.km
        table = self._sparse(self.unsure.row, self.unsure.cell, x, len(self.inside))
        slope = np.hstack([table @ base, _row_sums(table) * other[self.pattern[self.inside]]])
        return total + slope.T @ (slope * (c * (1 + c) * weight[self.inside])[:, None])

    def _log_chance(self, rate: np.ndarray, relative: np.ndarray) -> np.ndarray:
        """Log likelihood of each row given that it was without the defect on entry."""
        rows, sure = len(self.pattern), self.sure
        hazard = np.bincount(sure.row, rate[sure.cell] * sure.km, rows) * relative
        chance = -hazard
        span = self._window_hazard(rate, relative)
        chance[self.inside] += np.log(-np.expm1(-np.maximum(span, 1e-300)))
        chance[self.exact] += np.log(rate[self.exact_cell] * relative[self.exact])
        return chance

    def _weights(self, chance: np.ndarray) -> tuple[np.ndarray, float]:
        """Chance of each row of a life given its record (Bayes), and the log likelihood."""
        life, prior = self.rows.life, self.prior
        lives = int(life.max()) + 1 if len(life) else 0
        top = np.full(lives, -np.inf)
        np.maximum.at(top, life, chance)
        scaled = prior * np.exp(chance - top[life])
        total = np.bincount(life, scaled, lives)
        seen = total > 0
        height = np.where(seen, np.log(np.maximum(total, 1e-300)) + np.where(seen, top, 0.0), 0.0)
        times = np.zeros(lives)
        times[life] = self.rows.times
        return scaled / total[life] * self.rows.times, float(times @ height)

    def _window_hazard(self, rate: np.ndarray, relative: np.ndarray) -> np.ndarray:
        part = self.unsure
        hazard = np.bincount(part.row, rate[part.cell] * part.km, len(self.inside))
        return hazard * relative[self.inside]

    def _window_parts(
        self, rate: np.ndarray, relative: np.ndarray
    ) -> tuple[np.ndarray, np.ndarray]:
        """Expected events and exposure in each part of each window, given a defect within it."""
        part: Overlap = self.unsure
        x = rate[part.cell] * relative[self.inside[part.row]] * part.km
        span = np.bincount(part.row, x, len(self.inside))
        before = np.cumsum(x) - x
        starts = np.searchsorted(part.row, np.arange(len(self.inside)))
        before -= before[np.minimum(starts, max(len(x) - 1, 0))][part.row] if len(x) else 0.0
        found = -np.expm1(-np.maximum(span, 1e-300))[part.row]
        small = x < 1e-9
        mean_left = np.where(small, 1 - x / 2, -np.expm1(-x) / np.where(small, 1.0, x))
        events = np.exp(-before) * x * mean_left / found
        after = np.exp(-(span[part.row] - before))
        exposure = part.km * np.exp(-before) * (mean_left - after) / found
        return events, np.maximum(exposure, 0.0)

    def _table(self, row: np.ndarray, cell: np.ndarray, value: np.ndarray) -> np.ndarray:
        flat = self.pattern[row] * self.cells + cell
        total = np.bincount(flat, value, self.patterns * self.cells).astype(float)
        return total.reshape(self.patterns, self.cells)

    def _sparse(
        self, row: np.ndarray, cell: np.ndarray, value: np.ndarray, rows: int
    ) -> sparse.csr_array:
        return sparse.csr_array((value, (row, cell)), shape=(rows, self.cells))


def _row_sums(table: sparse.csr_array) -> np.ndarray:
    return np.asarray(table.sum(axis=1)).reshape(-1, 1)


def _quadratic(weight: np.ndarray, base: np.ndarray, other: np.ndarray) -> np.ndarray:
    """Sum over patterns p and cells j of weight[p, j] times the outer square of (base, other)."""
    cross = base.T @ weight.T @ other
    return np.block(
        [
            [base.T @ (base * weight.sum(0)[:, None]), cross],
            [cross.T, other.T @ (other * weight.sum(1)[:, None])],
        ]
    )
