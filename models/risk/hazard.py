"""Discrete-time hazard of defect over sensor age, from irregular tests."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
from sklearn.base import BaseEstimator
from sklearn.utils.validation import check_is_fitted

from models.risk.assumed import (
    BEND_SD,
    CURVE_SCALE_KM,
    CURVE_SHAPE,
    DELAY_RATE,
    FEWEST_ROAD_FAILURES,
    GROUP_SD,
    LEVEL_SD,
    MOST_SURVIVORS,
    REPAIRED_SD,
    SEASON_SD,
    SLOPE_SD,
    GammaPrior,
)
from models.risk.baseline import BaselineColumns, Curve, middles
from models.risk.beyond import Ahead, Beyond, Evidence
from models.risk.covariates import LifeColumns
from models.risk.delay import (
    first_delay,
    heard_of_itself,
    log_prior,
    moved_rate,
)
from models.risk.expectation import Records
from models.risk.first_sight import FirstSight
from models.risk.lives import (
    LivesError,
    Rows,
    checked_lives,
    entry_ages,
    found_on_entry,
    last_known,
    overlap,
    rows_of,
    thinned,
)
from models.risk.m_step import m_step, regressor
from models.risk.season import Calendar, calendar_now
from models.risk.season_fit import scaled_season, season_step
from models.risk.spread import covariance, delay_spread, slopes

#: With what lies ahead of each life among what is not known, EM is slow: its tolerance times this.
_COARSE = 100.0
#: Step of the season's scaled coefficient below which EM may stop.
_SEASON_STEP = 0.02
#: Share of defects missed below which a test is as good as perfect.
_LEAST_MISSED = 0.01


class DefectHazard(BaseEstimator):
    """Hazard of defect per km by age and by what is known of the life.

    The log hazard is an assumed Weibull curve, plus a smooth departure from it with age, plus an
    effect of each part number, duty and shop, of a life begun by cleaning, of the km a day and of
    earlier repairs (``models.risk.covariates``), plus that of the season of the km
    (``models.risk.season``) where lives are dated. All coefficients have normal priors (an L2
    penalty), so that small groups are drawn to the common curve and, with few defects, that curve
    to the assumed one. What past tests measured counts where ``fit`` is given it
    (``models.risk.beyond``). Left truncation, right censoring and windows between two tests are
    honoured by EM over a grid of age cells, each M-step a Poisson regression on rows of person-km.
    Where the delay is used, a sensor in use at first sight may have had the defect already, unheard
    of (``models.risk.first_sight``).

    A sensor of unknown age (``age_known`` false: its ages count from first sight) enters at each of
    seven ages spread as those of known age were at first sight, weighted in every E-step by how
    well each age fits its record.

    Parameters
    ----------
    baseline : {"spline", "log_km"}
        ``log_km`` makes the hazard a power of age (Weibull).
    n_cells : int
        Cells of equal width from 0 to the oldest age seen.
    curve_shape, curve_scale_km : float
        The assumed Weibull curve (see ``models.risk.assumed``).
    level_sd, slope_sd, bend_sd, group_sd, repaired_sd, season_sd : float
        Standard deviations of the coefficients' priors on the log hazard; a large value, 1e3 say,
        leaves a coefficient to the records alone.
    delay_prior : GammaPrior, optional
        Rate per km at which a defect is heard of. Used where any life has a ``contact_km``: such a
        life is then followed to that age, with an allowance for a defect not yet heard of. None
        follows each life to its last good test only.
    fewest_road_failures : int
        With fewer of them the delay stays as assumed. On simulated fleets of 40 to 160 bikes 0,
        that is to learn always, was better calibrated (see ``tests.bench.risk_bench contact``).
    most_survivors : int
        Of more lives without a defect than this, so many are drawn and weighed up: they say little
        each, and the rows of person-km stay few.
    sensitivity : float
        Share of defective sensors in which a test finds the defect. Below 1 the last good test may
        have missed it, where the lives tell when the one before was made (``earlier_km``).
    sensitivity_sd : float
        Standard deviation of that share, for the draws.
    max_iter : int
        Most EM steps.
    tol : float
        EM stops when a step raises the penalised log likelihood by less than this.

    Attributes
    ----------
    coef_ : array of shape (columns,)
        Coefficients of the scaled columns, the season's last; their prior is standard normal.
    n_base_, n_life_, n_season_ : int
        How many are the curve's, those of a life, and the season's (one where any life is dated).
    covariance_ : array of shape (columns, columns)
        Their covariance: inverse observed information with, as the middle of the sandwich, the
        spread of the bikes' scores, so that several sensors of a bike count as one draw. Given the
        delay and the sensitivity.
    slopes_ : array of shape (2, columns)
        How the coefficients move with the logarithms of the delay's rate and of the share missed.
    delay_ : Delay or None
        Km from a defect until it is heard of; None where not used.
    n_lives_, n_defects_, n_bikes_ : int
    km_watched_, idle_rate_per_km_ : float
        Km watched, and complaints per km whose test found nothing.
    n_found_on_entry_ : int
        Lives that already had the defect when first seen, which are left out.
    entry_ages_ : array
        Ages at first sight given to sensors of unknown age, km.
    """

    def __init__(
        self,
        baseline: str = "spline",
        n_cells: int = 60,
        curve_shape: float = CURVE_SHAPE,
        curve_scale_km: float = CURVE_SCALE_KM,
        level_sd: float = LEVEL_SD,
        slope_sd: float = SLOPE_SD,
        bend_sd: float = BEND_SD,
        group_sd: float = GROUP_SD,
        repaired_sd: float = REPAIRED_SD,
        season_sd: float = SEASON_SD,
        delay_prior: GammaPrior | None = DELAY_RATE,
        fewest_road_failures: int = FEWEST_ROAD_FAILURES,
        most_survivors: int = MOST_SURVIVORS,
        sensitivity: float = 1.0,
        sensitivity_sd: float = 0.0,
        max_iter: int = 200,
        tol: float = 1e-4,
    ):
        self.baseline = baseline
        self.n_cells = n_cells
        self.curve_shape = curve_shape
        self.curve_scale_km = curve_scale_km
        self.level_sd = level_sd
        self.slope_sd = slope_sd
        self.bend_sd = bend_sd
        self.group_sd = group_sd
        self.repaired_sd = repaired_sd
        self.season_sd = season_sd
        self.delay_prior = delay_prior
        self.fewest_road_failures = fewest_road_failures
        self.most_survivors = most_survivors
        self.sensitivity = sensitivity
        self.sensitivity_sd = sensitivity_sd
        self.max_iter = max_iter
        self.tol = tol

    def fit(
        self, X: pd.DataFrame, y: object = None, *, evidence: Evidence | None = None
    ) -> DefectHazard:
        """Fit to lives in the columns of ``LIFE_WINDOWS``.

        With ``evidence`` what past tests measured counts too (``models.risk.beyond``), where the
        delay is used; a model fitted to the same lives before then starts from where it was.

        Raises
        ------
        LivesError
            A life is impossible, or none has run a single km under observation.
        """
        lives = checked_lives(X)
        already = found_on_entry(lives)
        self.n_found_on_entry_ = int(already.sum())
        lives = lives[~already].reset_index(drop=True)
        self.entry_ages_ = entry_ages(lives)
        used = self.delay_prior if lives["contact_km"].notna().any() else None
        self.delay_ = None if used is None else first_delay(lives, used, self.fewest_road_failures)
        self._count(lives)
        lives = thinned(lives, self.most_survivors)
        delay_km = None if used is None else 1.0 / used.mean
        rows = rows_of(lives, self.entry_ages_, delay_km=delay_km, sensitivity=self.sensitivity)
        self._lay_grid(rows)
        self.life_columns_ = LifeColumns(self.group_sd, self.repaired_sd).fit(lives)
        first, pattern = self.life_columns_.patterns(lives)
        other = self.life_columns_.transform(lives.iloc[first])
        group, beyond = pattern.astype(np.int32)[rows.life], None  # one a row: half the memory
        if evidence is not None and used is not None:
            beyond = Beyond(lives, rows, group, evidence)
            rows = beyond.rows
        sight = FirstSight(lives, rows, self.sensitivity)
        season = scaled_season(lives, rows, self.life_columns_.usual_pace, self.season_sd)
        records = Records(rows, group, self.edges_, season)
        del lives, season  # no more than their records is needed from here on
        self._maximise(records, other, beyond, sight)
        return self

    def predict_cumulative_hazard(
        self, X: pd.DataFrame, age_km: np.ndarray, coef: np.ndarray | None = None
    ) -> np.ndarray:
        """Cumulative hazard from age 0, all its km run through the year.

        Parameters
        ----------
        X : frame of shape (n, ...)
            Columns ``part_no``, ``duty`` and ``repaired``, and those of ``RIDING`` where known; a
            group never seen, or blank, has the common hazard.
        age_km : array of shape (n,), (n, k) or (n, k, m)
            Ages at which to answer, one row of ages for each row of ``X``; or one row for all.
        coef : array of shape (draws, columns), optional
            Coefficients such as ``draw`` gives; by default the fitted ones.

        Returns
        -------
        array of the shape of ``age_km``, with a leading axis of draws if ``coef`` is given.
        """
        check_is_fitted(self)
        chosen = self.coef_[None, :] if coef is None else coef
        hazard = self.cumulative_hazard_of(self.life_columns_.transform(X), age_km, chosen)
        return hazard[0] if coef is None else hazard

    def cumulative_hazard_of(
        self, columns: np.ndarray, age_km: np.ndarray, coef: np.ndarray
    ) -> np.ndarray:
        """The same from what ``life_columns_`` makes of each life, shape (n, columns)."""
        age = np.asarray(age_km, dtype=float)
        return self.curve_to(float(np.max(age, initial=0.0)), coef).of(columns, age)

    def curve_to(self, oldest_km: float, coef: np.ndarray) -> Curve:
        """Cumulative hazards up to an age, for lives that are told by ``life_columns_``."""
        of_life = coef[:, self.n_base_ : self.n_base_ + self.n_life_]
        return Curve(*self._cumulative(coef, oldest_km), of_life)

    @property
    def life_coef_(self) -> np.ndarray:
        """Coefficients of what is known of a life, part of ``coef_``."""
        return self.coef_[self.n_base_ : self.n_base_ + self.n_life_]

    def calendar(self, sensors_now: pd.DataFrame) -> Calendar | None:
        """When sensors in service run their km; None where the season has no part in the fit."""
        check_is_fitted(self)
        return calendar_now(sensors_now, self.life_columns_.usual_pace) if self.n_season_ else None

    def predict_survival(
        self, X: pd.DataFrame, age_km: np.ndarray, coef: np.ndarray | None = None
    ) -> np.ndarray:
        """Chance of no defect by an age, from age 0; see ``predict_cumulative_hazard``."""
        return np.exp(-self.predict_cumulative_hazard(X, age_km, coef))

    def predict_hazard(self, X: pd.DataFrame, age_km: np.ndarray) -> np.ndarray:
        """Hazard per km at an age (that of its cell), for each row of ``X``."""
        check_is_fitted(self)
        edges = self._edges_to(float(np.max(age_km)))
        cell = np.clip(np.searchsorted(edges, age_km, side="left") - 1, 0, len(edges) - 2)
        rate = self._rates(edges, self.coef_[: self.n_base_])[cell]
        return rate * np.exp(self.life_columns_.transform(X) @ self.life_coef_)

    def draw(self, n_draws: int, seed: int, *, s: np.ndarray | None = None) -> np.ndarray:
        """Coefficients drawn from their normal approximation, shape (n_draws, columns).

        The delay and the sensitivity on which they rest are drawn too: the delay as ``Delay.draw``
        does with the same seed, the sensitivity where ``s`` of shape (n_draws,) does not give it.
        """
        check_is_fitted(self)
        rng = np.random.default_rng(seed)
        value, vector = np.linalg.eigh(self.covariance_)
        root = vector * np.sqrt(np.maximum(value, 0.0))
        coef = self.coef_ + rng.standard_normal((n_draws, len(self.coef_))) @ root.T
        if self.delay_ is None:
            return coef
        rates = self.delay_.draw(n_draws, seed)
        if s is None:
            normal = np.random.default_rng([seed, 3]).standard_normal(n_draws)
            s = self.sensitivity + self.sensitivity_sd * normal
        missed = np.log(np.maximum(1 - s, _LEAST_MISSED) / max(1 - self.sensitivity, _LEAST_MISSED))
        return coef + np.column_stack([np.log(rates[1:] / rates[0]), missed]) @ self.slopes_

    def weibull(self) -> tuple[float, float]:
        """Shape and scale (km) of the common curve; for ``baseline="log_km"`` only."""
        check_is_fitted(self)
        if self.baseline != "log_km":
            raise ValueError("a Weibull shape and scale need baseline='log_km'")
        level, slope = self.coef_[:2] * (self.level_sd, self.slope_sd)
        shape = self.curve_shape + slope
        log_rate = np.log(self.curve_shape) - self.curve_shape * np.log(self.curve_scale_km)
        log_rate += level - slope * self.columns_.middle_
        return float(shape), float((shape / np.exp(log_rate)) ** (1 / shape))

    def _count(self, lives: pd.DataFrame) -> None:
        self.n_lives_ = round(lives["times"].sum())
        self.n_defects_ = int((lives["bad_km"].notna() & (lives["times"] >= 1)).sum())
        self.n_bikes_ = int(lives["unit_id"].nunique())
        end = last_known(lives) if self.delay_ else lives["bad_km"].fillna(lives["good_km"])
        self.km_watched_ = float(((end - lives["entry_km"]) * lives["times"]).sum())
        idle = float((lives["idle_complaints"] * lives["times"]).sum())
        self.idle_rate_per_km_ = idle / max(self.km_watched_, 1.0)
        if not self.km_watched_ > 0:
            raise LivesError("lives: no sensor has run a km under observation")

    def _lay_grid(self, rows: Rows) -> None:
        end = np.fmax(rows.good, rows.bad)
        self.edges_ = np.linspace(0.0, float(end.max()), self.n_cells + 1)
        seen = overlap(rows.entry, end, self.edges_)
        share = rows.weight / np.bincount(rows.life, rows.weight)[rows.life]
        watched = np.bincount(seen.cell, seen.km * share[seen.row], self.n_cells)
        self.columns_ = BaselineColumns(self.baseline, self.level_sd, self.slope_sd, self.bend_sd)
        self.columns_.fit(middles(self.edges_), weight=watched)

    def _maximise(
        self, records: Records, other: np.ndarray, beyond: Beyond | None, sight: FirstSight
    ) -> None:
        """EM from the assumed curve, each M-step a Poisson regression on rows of person-km."""
        base = self.columns_.transform(middles(self.edges_))
        self.n_base_, self.n_life_ = base.shape[1], other.shape[1]
        design = np.hstack([base[records.pair_cell], other[records.pair_group]])
        assumed = self._assumed_rate(self.edges_)[records.pair_cell]
        ahead = None if beyond is None else self._ahead(beyond, other)
        step = regressor()
        tol = self.tol if beyond is None else _COARSE * self.tol
        coef, season = self._begin(design.shape[1], records, afresh=beyond is None)
        reached = -np.inf
        for turn in range(self.max_iter):
            hazard = assumed * np.exp(design @ coef)
            if ahead is not None:
                records.factor[beyond.without] = np.exp(beyond.factor(ahead.hazard(coef)))
            if self.delay_ is not None:
                self._set_delay(records, sight, coef, other)
            expected = records.expect(hazard)
            now = expected.log_likelihood - float(coef @ coef) / 2 + self._delay_term()
            now -= season**2 / 2
            self.n_iter_ = turn
            ended, moved = now - reached < tol and turn > 1, 0.0
            if self.n_season_ and (ended or (beyond is None and turn == 1)):
                moved = season_step(records, hazard, expected.weight, season)
            if ended and abs(moved) < _SEASON_STEP:
                break
            reached = now
            if ahead is None:
                coef = m_step(step, design, expected, assumed)
            else:
                later = beyond.expect(ahead.hazard(coef), expected.weight[beyond.without])
                coef = m_step(step, *ahead.joined(design, assumed, expected, later))
            self._move_delay(records, expected.weight, sight)
            if moved:
                season += moved
                records.set_season(season)
        self.coef_ = np.append(coef, [season] * self.n_season_)
        self.log_likelihood_ = expected.log_likelihood
        spread = covariance(records, hazard, design, expected.weight, self.n_defects_)
        self.covariance_, inverse = spread
        if self.delay_ is not None and self.delay_.learned:
            self.delay_ = delay_spread(records, hazard, self.delay_, self.delay_prior)
        self.slopes_ = np.zeros((2, len(self.coef_)))
        if self.delay_ is not None:
            rate = self.delay_.rate_per_km
            self.slopes_ = slopes(records, hazard, design, inverse, rate)

    def _begin(self, count: int, records: Records, *, afresh: bool) -> tuple[np.ndarray, float]:
        """Coefficients from which EM starts, and the season's: nought, or those of the last fit."""
        self.n_season_ = int(records.has_season)
        coef = None if afresh else getattr(self, "coef_", None)
        if coef is None:
            return np.zeros(count), 0.0
        if not self.n_season_:
            return coef, 0.0
        records.set_season(float(coef[-1]))
        return coef[:-1], float(coef[-1])

    def _ahead(self, beyond: Beyond, other: np.ndarray) -> Ahead:
        """Columns and assumed rates of the stretches beyond the lives' last contacts."""
        edges = self._edges_to(beyond.oldest_km)
        records = beyond.lay(edges)
        base = self.columns_.transform(middles(edges))
        design = np.hstack([base[records.pair_cell], other[records.pair_group]])
        return Ahead(design, self._assumed_rate(edges)[records.pair_cell])

    def _delay_term(self) -> float:
        if self.delay_ is None or not self.delay_.learned:
            return 0.0
        return log_prior(self.delay_prior, self.delay_.rate_per_km)

    def _set_delay(
        self, records: Records, sight: FirstSight, coef: np.ndarray, other: np.ndarray
    ) -> None:
        """Weigh rows by the delay, those with the defect at first sight by the hazard too."""
        rate = self.delay_.rate_per_km
        edges, total = self._cumulative(coef[None, :], self.edges_[-1])
        ratio = np.exp(other @ coef[self.n_base_ :])[records.group[sight.row]]
        records.factor[sight.row] = sight.weigh(
            lambda ages: np.interp(ages, edges, total[0]) * ratio[:, None], rate
        )
        records.set_delay(rate)

    def _move_delay(self, records: Records, weight: np.ndarray, sight: FirstSight) -> None:
        """M-step of the delay's rate: defects heard of over km with the defect."""
        delay = self.delay_
        if delay is None or not delay.learned:
            return
        km = records.km_with_defect(weight, delay.rate_per_km)
        km += float(weight[sight.row] @ sight.since_km)
        idle = self.sensitivity * self.idle_rate_per_km_
        own = heard_of_itself(delay.n_heard, delay.n_road_failures, delay.rate_per_km, idle)
        self.delay_ = replace(delay, rate_per_km=moved_rate(self.delay_prior, own, km))

    def _rates(self, edges: np.ndarray, coef: np.ndarray) -> np.ndarray:
        """Common hazard per km in each cell; ``coef`` of shape (columns,) or (draws, columns)."""
        base = self.columns_.transform(middles(edges))
        return self._assumed_rate(edges) * np.exp(np.clip(coef @ base.T, -60, 60))

    def _assumed_rate(self, edges: np.ndarray) -> np.ndarray:
        """Mean hazard of the assumed curve in each cell, per km."""
        return np.diff((edges / self.curve_scale_km) ** self.curve_shape) / np.diff(edges)

    def _cumulative(self, coef: np.ndarray, oldest: float) -> tuple[np.ndarray, np.ndarray]:
        edges = self._edges_to(oldest)
        steps = self._rates(edges, coef[:, : self.n_base_]) * np.diff(edges)
        return edges, np.hstack([np.zeros((len(coef), 1)), np.cumsum(steps, axis=1)])

    def _edges_to(self, oldest: float) -> np.ndarray:
        """The grid, gone on in steps of a twentieth where an older age is asked for."""
        last = self.edges_[-1]
        if oldest <= last:
            return self.edges_
        steps = int(np.ceil(np.log(oldest / last) / np.log(1.05)))
        return np.concatenate([self.edges_, last * 1.05 ** np.arange(1, steps + 1)])
