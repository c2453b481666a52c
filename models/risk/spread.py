"""How far the hazard's coefficients and the delay may lie from their estimates."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from models.risk.assumed import FEW_DEFECTS, GammaPrior
from models.risk.delay import Delay, log_prior
from models.risk.expectation import Records

#: Step on the scale of a logarithm in differences of the log likelihood or of the score.
_LOG_STEP = 0.1


def covariance(
    records: Records,
    hazard: np.ndarray,
    design: np.ndarray,
    weight: np.ndarray,
    n_defects: int,
) -> tuple[np.ndarray, np.ndarray]:
    """Covariance of the scaled coefficients, bikes being the independent draws; and J^-1.

    J^-1 (M + I) J^-1 with J the penalised observed information, I the prior's precision and M the
    outer products of the bikes' scores. Were the sensors independent, M would be J - I and this the
    Bayesian covariance J^-1, whose bands cover well on average (Nychka, JASA 83 (1988) 1134); the
    middle widens it where sensors of a bike fail together (Huber 1967; Liang & Zeger 1986). Few
    defects say little about M, so it is drawn towards J - I as if by ten more defects, and scaled
    up for the coefficients fitted (trace(J^-1 (J - I)), against the number of defects), since
    fitted scores are smaller than true ones.
    """
    rows, score_of = records.rows, records.score_of(hazard, design)
    information = records.information(hazard, design, weight)
    units = np.zeros((int(rows.unit.max()) + 1, len(information)))
    for some in records.by_lives():
        score = score_of(some) * weight[some, None]
        np.add.at(units, rows.unit[some], score)
        information -= mixing(rows.life[some], rows.times[some], score, weight[some])
    identity = np.eye(len(information))
    inverse = np.linalg.inv(information + identity)
    fitted = np.trace(inverse @ information)
    spread = units.T @ units * (n_defects / max(n_defects - fitted, n_defects / 3, 1))
    trust = n_defects / (n_defects + FEW_DEFECTS)
    middle = trust * spread + (1 - trust) * information
    return inverse @ (middle + identity) @ inverse, inverse


def slopes(
    records: Records, hazard: np.ndarray, design: np.ndarray, inverse: np.ndarray, rate: float
) -> np.ndarray:
    """How the coefficients move with what they were fitted given, shape (2, columns).

    By the logarithm of the rate at which a defect is heard of, and by that of the share of
    defects that a test misses: J^-1 times the slope of the score (implicit function theorem), by
    differences.
    """

    def score() -> np.ndarray:
        expected = records.expect(hazard)
        by_column = design.T @ (expected.events - hazard * expected.exposure)
        if not records.has_season:
            return by_column
        return np.append(by_column, expected.weight @ records.season_scores(hazard))

    by_rate, by_missed = [], []
    for step in (_LOG_STEP, -_LOG_STEP):
        records.set_delay(rate * np.exp(step))
        by_rate.append(score())
        records.factor[records.rows.missed] *= np.exp(step)
        records.set_delay(rate)
        by_missed.append(score())
        records.factor[records.rows.missed] *= np.exp(-step)
    records.set_delay(rate)
    moved = [(more - less) / (2 * _LOG_STEP) for more, less in (by_rate, by_missed)]
    return np.array(moved) @ inverse


def delay_spread(records: Records, hazard: np.ndarray, delay: Delay, prior: GammaPrior) -> Delay:
    """The delay with the spread of its log rate.

    From the curvature of the log likelihood with the prior's, by differences, the curve held fixed.

    Parameters
    ----------
    records : Records
        Weighed by this delay, as they are again afterwards.
    hazard : array of shape (pairs,)
        Per km.
    delay : Delay
        As estimated.
    prior : GammaPrior
        Of its rate; its own spread is the most that is given.
    """
    heights = []
    for factor in np.exp([-_LOG_STEP, 0.0, _LOG_STEP]):
        records.set_delay(delay.rate_per_km * factor)
        height = records.expect(hazard).log_likelihood
        heights.append(height + log_prior(prior, delay.rate_per_km * factor))
    bend = (2 * heights[1] - heights[0] - heights[2]) / _LOG_STEP**2
    records.set_delay(delay.rate_per_km)
    return replace(delay, log_sd=float(1 / np.sqrt(max(bend, prior.events))))


def mixing(
    life: np.ndarray, times: np.ndarray, score: np.ndarray, weight: np.ndarray
) -> np.ndarray:
    """Information lost by not knowing which row of a life is true (Louis, JRSS B 44 (1982) 226).

    Parameters
    ----------
    life : array of int, shape (rows,)
        Life of each row; those of a life stand beside one another.
    times : array of shape (rows,)
        How often its life counts.
    score : array of shape (rows, columns)
        Gradient of each row's log likelihood, times its weight.
    weight : array of shape (rows,)
        How often the row counts: a share of ``times``.
    """
    begins = np.flatnonzero(np.diff(life, prepend=-1))
    count = np.diff(np.append(begins, len(life)))
    if (count == 1).any():  # of one row nothing is lost, not even by rounding
        some = np.repeat(count > 1, count)
        life, times, score, weight = life[some], times[some], score[some], weight[some]
        count = count[count > 1]
        begins = np.cumsum(count) - count
    if not len(begins):
        return np.zeros((score.shape[1], score.shape[1]))
    mean = np.add.reduceat(score, begins, axis=0)
    lost = score.T @ (score / np.maximum(weight, 1e-300)[:, None])
    return lost - mean.T @ (mean / np.maximum(times[begins], 1e-300)[:, None])
