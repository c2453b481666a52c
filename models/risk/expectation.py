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
from models.risk.grid_parts import Season, Spans, cut_by_grid
from models.risk.lives import Rows

#: Rows of lives, and windows, that are worked out at a time, for the memory.
_ROWS_AT_ONCE = 20_000


class Expected(NamedTuple):
    """Expected events and exposure (km) by person-km row, log likelihood, weight of each row."""

    events: np.ndarray
    exposure: np.ndarray
    log_likelihood: float
    weight: np.ndarray


class InWindows(NamedTuple):
    """Some windows, where their parts stand, and the place of each part's window among them.

    Beside them the expected events and exposure (km) in each part, given a defect in its window.
    """

    windows: slice
    parts: slice
    window: np.ndarray
    events: np.ndarray
    exposure: np.ndarray


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
    has_season : bool
        Whether the season of each part is known.
    """

    def __init__(
        self, rows: Rows, group: np.ndarray, edges: np.ndarray, season: Season | None = None
    ):
        self.rows, self.edges, self.group = rows, edges, group
        self.cells, self.has_season = len(edges) - 1, season is not None
        self.prior, self.factor = rows.weight, np.ones(len(rows.life))
        self.delayed = np.flatnonzero(~np.isnan(rows.near))
        self.inside = np.flatnonzero(rows.window)
        self.exact = np.flatnonzero(rows.exact)
        bad, inside = rows.bad[self.exact], self.inside
        spans = (
            Spans(np.arange(len(rows.life)), rows.entry, rows.good),
            Spans(inside, rows.good[inside], rows.bad[inside]),
            Spans(self.exact, np.nextafter(bad, -np.inf), bad),
        )
        (self.sure, self.unsure, at), self.pair_cell, self.pair_group = cut_by_grid(
            spans, group, edges, season
        )
        self.exact_pair, self._season_of_exact = at.pair, at.season
        self._log_of_exact: np.ndarray | float = 0.0

    def set_season(self, coef: float) -> None:
        """Let each km count as its season has it."""
        self.sure.count_season(coef)
        self.unsure.count_season(coef)
        # a plain float would leave the product in single precision
        self._log_of_exact = np.float64(coef) * self._season_of_exact

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
        total_events = _sums(self.exact_pair, weight[self.exact], len(hazard))
        total_exposure = self.sure.km.T @ weight
        of_window = weight[self.inside]
        for some in self._windows(hazard):
            pair, given = self.unsure.pair[some.parts], of_window[some.windows][some.window]
            total_events += _sums(pair, some.events * given, len(hazard))
            total_exposure += _sums(pair, some.exposure * given, len(hazard))
        return Expected(total_events, total_exposure, log_likelihood, weight)

    def by_lives(self) -> Iterator[np.ndarray]:
        """Rows of some lives at a time, those of a life beside one another."""
        order = np.argsort(self.rows.life, kind="stable")
        ends = np.cumsum(np.bincount(self.rows.life))
        turn = (ends - 1) // _ROWS_AT_ONCE
        yield from np.split(order, ends[np.flatnonzero(np.diff(turn))])

    def score_of(
        self, hazard: np.ndarray, design: np.ndarray
    ) -> Callable[[np.ndarray], np.ndarray]:
        """Gradient of rows' log likelihood, given of some rows at a time.

        By Fisher's identity the expectation of events less expected events, times the columns of
        ``design``, and of the season behind them where there is one. Of all rows at once it would
        take many times what the records do.

        Parameters
        ----------
        hazard : array of shape (pairs,)
            Per km.
        design : array of shape (pairs, columns)
            Columns of the coefficients.

        Returns
        -------
        callable that takes places of rows and gives an array of shape (these rows, columns), with
        one more column where the season is known.
        """
        rows, n_exact = len(self.rows.life), len(self.exact)
        unsure = _spread_rows(self.unsure.of(self._left(hazard)), self.inside, rows)
        known = (np.ones(n_exact), self.exact_pair, np.arange(n_exact + 1, dtype=np.int32))
        exact = sparse.csr_array(known, shape=(n_exact, len(hazard)))
        exact = _spread_rows(exact, self.exact, rows)
        season = self.season_scores(hazard)[:, None] if self.has_season else np.zeros((rows, 0))

        def some_rows(some: np.ndarray) -> np.ndarray:
            sure = self.sure.km[some]
            sure.data *= hazard[sure.indices]
            return np.hstack([(unsure[some] + exact[some] - sure) @ design, season[some]])

        return some_rows

    def season_scores(self, hazard: np.ndarray) -> np.ndarray:
        """Gradient of each row's log likelihood by the season's coefficient, shape (rows,)."""
        score = np.empty(len(self.rows.life))
        for some, km in self.sure.by_season():
            score[some] = -(km @ hazard)
        left = self.unsure.of(self._left(hazard) * self.unsure.season)
        score[self.inside] += left @ np.ones(len(hazard))
        score[self.exact] += self._season_of_exact
        return score

    def information(self, hazard: np.ndarray, design: np.ndarray, weight: np.ndarray) -> np.ndarray:
        """Observed information of the coefficients, given the weights of the rows.

        With d the cumulative hazard of a window and c = 1 / (exp(d) - 1), a row's log likelihood is
        -(hazard to good_km) + log(1 - exp(-d)); its second derivative is
        -(hazard)'' + c d'' - c (1 + c) d' d'.
        """
        sure, unsure = self.sure, self.unsure
        c = 1.0 / np.expm1(np.maximum(unsure.km @ hazard, 1e-12))
        of_window = c * weight[self.inside]
        km = sure.km.T @ weight - unsure.km.T @ of_window
        total = design.T @ (design * (km * hazard)[:, None])
        by_season = np.empty((len(c), 0))
        if self.has_season:
            by_season = np.empty((len(c), 1))
            for some, counted in unsure.by_season():
                by_season[some, 0] = counted @ hazard
            mixed, own = (self._seasonal(power, weight, of_window) * hazard for power in (1, 2))
            across = (design.T @ mixed)[:, None]
            total = np.block([[total, across], [across.T, np.array([[own.sum()]])]])
        twice = (1 + c) * of_window
        for first in range(0, len(c), _ROWS_AT_ONCE):
            some = slice(first, first + _ROWS_AT_ONCE)
            slope = unsure.km[some]
            slope.data *= hazard[slope.indices]
            part = np.hstack([slope @ design, by_season[some]])
            total += part.T @ (part * twice[some, None])
        return total

    def _seasonal(self, power: int, weight: np.ndarray, of_window: np.ndarray) -> np.ndarray:
        """Km times a power of their season, by pair.

        Of the km known to be without the defect, weighed by row, less those of windows, weighed by
        window.
        """
        total = np.zeros(len(self.pair_cell))
        for some, km in self.sure.by_season(power):
            total += km.T @ weight[some]
        for some, km in self.unsure.by_season(power):
            total -= km.T @ of_window[some]
        return total

    def _log_chance(self, hazard: np.ndarray) -> np.ndarray:
        """Log likelihood of each row given that it was without the defect on entry."""
        chance = -(self.sure.km @ hazard)
        span = self.unsure.km @ hazard
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

    def _windows(self, hazard: np.ndarray) -> Iterator[InWindows]:
        """Expected events and exposure in each part of each window, given a defect within it."""
        for first in range(0, len(self.inside), _ROWS_AT_ONCE):
            last = min(first + _ROWS_AT_ONCE, len(self.inside))
            parts, window = self.unsure.between(first, last)
            km = self.unsure.km.data[parts]
            x = hazard[self.unsure.pair[parts]] * km
            span = _sums(window, x, last - first)
            before = np.cumsum(x) - x
            starts = np.searchsorted(window, np.arange(last - first))
            before -= before[np.minimum(starts, max(len(x) - 1, 0))][window] if len(x) else 0.0
            found = -np.expm1(-np.maximum(span, 1e-300))[window]
            small = x < 1e-9
            mean_left = np.where(small, 1 - x / 2, -np.expm1(-x) / np.where(small, 1.0, x))
            events = np.exp(-before) * x * mean_left / found
            after = np.exp(-(span[window] - before))
            exposure = km * np.exp(-before) * (mean_left - after) / found
            yield InWindows(slice(first, last), parts, window, events, np.maximum(exposure, 0.0))

    def _left(self, hazard: np.ndarray) -> np.ndarray:
        """Expected events less those that the exposure would bring, of each part of a window."""
        left = np.empty(len(self.unsure.pair))
        for some in self._windows(hazard):
            pair = self.unsure.pair[some.parts]
            left[some.parts] = some.events - hazard[pair] * some.exposure
        return left


def _spread_rows(table: sparse.csr_array, place: np.ndarray, rows: int) -> sparse.csr_array:
    """The rows of a table at rising places among so many, the others empty."""
    count = np.zeros(rows + 1, dtype=table.indptr.dtype)
    count[place + 1] = np.diff(table.indptr)
    held = (table.data, table.indices, np.cumsum(count, dtype=count.dtype))
    return sparse.csr_array(held, shape=(rows, table.shape[1]))


def _sums(place: np.ndarray, value: np.ndarray, length: int) -> np.ndarray:
    """Sums of values by place, shape (length,); numpy counts in whole numbers where none are."""
    return np.bincount(place, value, length).astype(float, copy=False)
