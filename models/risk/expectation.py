"""Likelihood of interval-censored lives under a hazard that is constant within each cell.

With a hazard per km for each cell of age and set of covariates, the event counts and exposures are
those of a Poisson model (Holford, Biometrics 36 (1980) 299). Where a defect is only known to
lie in a window, the E-step of the EM algorithm replaces its cell and its exposure by their
expectations given the window (Dempster, Laird & Rubin, JRSS B 39 (1977) 1; Finkelstein,
Biometrics 42 (1986) 845).
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import NamedTuple

import numpy as np
from scipy import sparse

from models.risk.delay import silent_chance, silent_km
from models.risk.lives import Rows, overlap

#: Rows of lives that all columns are worked out of at a time.
_ROWS_AT_ONCE = 20_000


class Expected(NamedTuple):
    """Expected events and exposure (km) by person-km row, log likelihood, weight of each row."""

    events: np.ndarray
    exposure: np.ndarray
    log_likelihood: float
    weight: np.ndarray


class Parts(NamedTuple):
    """Parts of spans of km: span number, person-km row, km of it; in order of span and age.

    Beside them the number of the row of records and the age at which each part begins.
    """

    span: np.ndarray
    pair: np.ndarray
    km: np.ndarray
    row: np.ndarray
    low: np.ndarray


#: Scaled season of parts, by row of records, age at which a part begins and km of it.
Season = Callable[[np.ndarray, np.ndarray, np.ndarray], np.ndarray]


class Records:
    """Rows cut into the cells of one grid.

    A *pair* is a cell of age with a group, that is a set of covariates: the rows of person-km on
    which the hazard is a Poisson regression.

    Parameters
    ----------
    rows : Rows
    group : array of shape (rows,)
        Number of each row's set of covariates.
    edges : array of shape (cells + 1,)
        Edges of the cells, km, covering all ages.
    season : callable, optional
        Scaled season of each part. With a coefficient b (``set_season``) a km of it counts as
        exp(b x season) km.

    Attributes
    ----------
    pair_cell, pair_group : arrays of shape (pairs,)
    """

    def __init__(
        self, rows: Rows, group: np.ndarray, edges: np.ndarray, season: Season | None = None
    ):
        self.rows, self.edges, self.group = rows, edges, group
        self.cells = len(edges) - 1
        self.prior, self.factor = rows.weight, np.ones(len(rows.life))
        self.delayed = np.flatnonzero(~np.isnan(rows.near))
        self.inside = np.flatnonzero(rows.window)
        self.exact = np.flatnonzero(rows.exact)
        bad, inside = rows.bad[self.exact], self.inside
        spans = (
            (np.arange(len(rows.life)), rows.entry, rows.good),
            (inside, rows.good[inside], rows.bad[inside]),
            (self.exact, np.nextafter(bad, -np.inf), bad),
        )
        cut = [_cut(*span, group, edges) for span in spans]
        number, flat = np.unique(np.concatenate([c.pair for c in cut]), return_inverse=True)
        self.pair_group, self.pair_cell = np.divmod(number, self.cells)
        ends = np.cumsum([len(c.pair) for c in cut])[:-1]
        numbered = [c._replace(pair=n) for c, n in zip(cut, np.split(flat, ends), strict=True)]
        self.sure, self.unsure, exact = numbered
        self.exact_pair = exact.pair
        self.season = None if season is None else [season(c.row, c.low, c.km) for c in numbered]
        self._km, self._log_of_exact = (self.sure.km, self.unsure.km), 0.0

    def set_season(self, coef: float) -> None:
        """Let each km count as its season has it."""
        sure, unsure, exact = self.season
        self.sure = self.sure._replace(km=self._km[0] * np.exp(coef * sure))
        self.unsure = self.unsure._replace(km=self._km[1] * np.exp(coef * unsure))
        self._log_of_exact = coef * exact

    def set_delay(self, rate: float) -> None:
        """Weigh the pieces of windows by the delay until a defect is heard of (rate per km)."""
        rows, some = self.rows, self.delayed
        factor = silent_chance(rows.near[some], rows.far[some], rate)
        self.prior = rows.weight * self.factor
        self.prior[some] *= factor * np.where(rows.heard[some], rate, 1.0)

    def km_with_defect(self, weight: np.ndarray, rate: float) -> float:
        """Expected km, over all lives, from the defect to the end of its window."""
        some = self.delayed
        return float(weight[some] @ silent_km(self.rows.near[some], self.rows.far[some], rate))

    def expect(self, hazard: np.ndarray) -> Expected:
        """E-step at a hazard per km of each pair, shape (pairs,)."""
        share, height = self.shares(hazard)
        weight, times = share * self.rows.times, np.zeros(len(height))
        times[self.rows.life] = self.rows.times
        log_likelihood = float(times @ height)
        events, exposure = self._window_parts(hazard)
        unsure, sure = self.unsure, self.sure
        of_part = weight[self.inside][unsure.span]
        total_events = self._total(unsure.pair, events * of_part)
        total_events += self._total(self.exact_pair, weight[self.exact])
        total_exposure = self._total(unsure.pair, exposure * of_part)
        total_exposure += self._total(sure.pair, sure.km * weight[sure.span])
        return Expected(total_events, total_exposure, log_likelihood, weight)

    def scores(self, hazard: np.ndarray, design: np.ndarray) -> np.ndarray:
        """Gradient of each row's log likelihood, shape (rows, columns).

        By Fisher's identity the expectation of events less expected events, times the columns of
        ``design`` (pairs, columns), and of the season behind them where there is one.
        """
        events, exposure = self._window_parts(hazard)
        sure, unsure = self.sure, self.unsure
        row = np.concatenate([self.inside[unsure.span], self.exact, sure.span])
        pair = np.concatenate([unsure.pair, self.exact_pair, sure.pair])
        residual = np.concatenate(
            [
                events - hazard[unsure.pair] * exposure,
                np.ones(len(self.exact)),
                -hazard[sure.pair] * sure.km,
            ]
        )
        by_row = self._sparse(row, pair, residual, len(self.rows.life))
        score = np.empty((len(self.rows.life), design.shape[1] + (self.season is not None)))
        for some in _slices(len(score)):
            score[some, : design.shape[1]] = by_row[some] @ design
        if self.season is not None:
            score[:, -1] = self.season_scores(hazard)
        return score

    def season_scores(self, hazard: np.ndarray) -> np.ndarray:
        """Gradient of each row's log likelihood by the season's coefficient, shape (rows,)."""
        events, exposure = self._window_parts(hazard)
        (of_sure, of_unsure, of_exact), sure, unsure = self.season, self.sure, self.unsure
        left = (events - hazard[unsure.pair] * exposure) * of_unsure
        score = -_sums(sure.span, hazard[sure.pair] * sure.km * of_sure, len(self.rows.life))
        score[self.inside] += _sums(unsure.span, left, len(self.inside))
        score[self.exact] += of_exact
        return score

    def information(self, hazard: np.ndarray, design: np.ndarray, weight: np.ndarray) -> np.ndarray:
        """Observed information of the coefficients, given the weights of the rows.

        With d the cumulative hazard of a window and c = 1 / (exp(d) - 1), a row's log likelihood is
        -(hazard to good_km) + log(1 - exp(-d)); its second derivative is
        -(hazard)'' + c d'' - c (1 + c) d' d'.
        """
        sure, unsure, inside = self.sure, self.unsure, self.inside
        c = 1.0 / np.expm1(np.maximum(self._window_hazard(hazard), 1e-12))
        km = self._total(sure.pair, sure.km * weight[sure.span])
        km -= self._total(unsure.pair, unsure.km * (c * weight[inside])[unsure.span])
        total = design.T @ (design * (km * hazard)[:, None])
        x = hazard[unsure.pair] * unsure.km
        slope = self._sparse(unsure.span, unsure.pair, x, len(inside))
        by_season = np.empty((len(inside), 0))
        if self.season is not None:
            of_sure, of_unsure, _ = self.season
            by_season = _sums(unsure.span, x * of_unsure, len(inside))[:, None]
            by_sure = hazard[sure.pair] * sure.km * weight[sure.span] * of_sure
            by_unsure = x * (c * weight[inside])[unsure.span] * of_unsure
            mixed = self._total(sure.pair, by_sure) - self._total(unsure.pair, by_unsure)
            own = by_sure @ of_sure - by_unsure @ of_unsure
            across = (design.T @ mixed)[:, None]
            total = np.block([[total, across], [across.T, np.array([[own]])]])
        twice = c * (1 + c) * weight[inside]
        for some in _slices(len(inside)):
            part = np.hstack([slope[some] @ design, by_season[some]])
            total += part.T @ (part * twice[some, None])
        return total

    def _log_chance(self, hazard: np.ndarray) -> np.ndarray:
        """Log likelihood of each row given that it was without the defect on entry."""
        sure = self.sure
        chance = -_sums(sure.span, hazard[sure.pair] * sure.km, len(self.rows.life))
        span = self._window_hazard(hazard)
        chance[self.inside] += np.log(-np.expm1(-np.maximum(span, 1e-300)))
        chance[self.exact] += np.log(hazard[self.exact_pair]) + self._log_of_exact
        return chance

    def shares(self, hazard: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Chance of each row of a life given its record (Bayes), and each life's log likelihood."""
        chance, life, prior = self._log_chance(hazard), self.rows.life, self.prior
        lives = int(life.max()) + 1 if len(life) else 0
        top = np.full(lives, -np.inf)
        np.maximum.at(top, life, chance)
        scaled = prior * np.exp(chance - top[life])
        total = _sums(life, scaled, lives)
        seen = total > 0
        height = np.where(seen, np.log(np.maximum(total, 1e-300)) + np.where(seen, top, 0.0), 0.0)
        return scaled / total[life], height

    def _window_hazard(self, hazard: np.ndarray) -> np.ndarray:
        part = self.unsure
        return _sums(part.span, hazard[part.pair] * part.km, len(self.inside))

    def _window_parts(self, hazard: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Expected events and exposure in each part of each window, given a defect within it."""
        part = self.unsure
        x = hazard[part.pair] * part.km
        span = _sums(part.span, x, len(self.inside))
        before = np.cumsum(x) - x
        starts = np.searchsorted(part.span, np.arange(len(self.inside)))
        before -= before[np.minimum(starts, max(len(x) - 1, 0))][part.span] if len(x) else 0.0
        found = -np.expm1(-np.maximum(span, 1e-300))[part.span]
        small = x < 1e-9
        mean_left = np.where(small, 1 - x / 2, -np.expm1(-x) / np.where(small, 1.0, x))
        events = np.exp(-before) * x * mean_left / found
        after = np.exp(-(span[part.span] - before))
        exposure = part.km * np.exp(-before) * (mean_left - after) / found
        return events, np.maximum(exposure, 0.0)

    def _total(self, pair: np.ndarray, value: np.ndarray) -> np.ndarray:
        return _sums(pair, value, len(self.pair_cell))

    def _sparse(
        self, row: np.ndarray, pair: np.ndarray, value: np.ndarray, rows: int
    ) -> sparse.csr_array:
        return sparse.csr_array((value, (row, pair)), shape=(rows, len(self.pair_cell)))


def _slices(length: int) -> Iterator[slice]:
    """Some rows at a time, for the memory: each takes as many numbers as there are columns."""
    return (slice(k, k + _ROWS_AT_ONCE) for k in range(0, length, _ROWS_AT_ONCE))


def _sums(place: np.ndarray, value: np.ndarray, length: int) -> np.ndarray:
    """Sums of values by place, shape (length,); numpy counts in whole numbers where none are."""
    return np.bincount(place, value, length).astype(float, copy=False)


def _cut(
    row: np.ndarray, low: np.ndarray, high: np.ndarray, group: np.ndarray, edges: np.ndarray
) -> Parts:
    """Cut spans ``(low, high]`` of some rows by cell, in order of age.

    ``pair`` is here group * cells + cell; ``span`` the place of the span among those given.
    """
    part = overlap(low, high, edges)
    pair = group[row[part.row]] * (len(edges) - 1) + part.cell
    begins = np.maximum(low[part.row], edges[part.cell])
    return Parts(part.row, pair, part.km, row[part.row], begins)
