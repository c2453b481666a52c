"""How far the hazard's coefficients may lie from their estimates."""

from __future__ import annotations

import numpy as np

from models.risk.assumed import FEW_DEFECTS
from models.risk.expectation import Records

_LOG_STEP = 0.1
#: Lives looked at at a time, for the memory.
_LIVES_AT_ONCE = 10_000


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
    rows = records.rows
    score = records.scores(hazard, design)
    score *= weight[:, None]
    identity = np.eye(score.shape[1])
    information = records.information(hazard, design, weight)
    information -= mixing(records, score, weight)
    inverse = np.linalg.inv(information + identity)
    units = np.zeros((int(rows.unit.max()) + 1, score.shape[1]))
    np.add.at(units, rows.unit, score)
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
        if records.season is None:
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


def mixing(records: Records, score: np.ndarray, weight: np.ndarray) -> np.ndarray:
    """Information lost by not knowing which row of a life is true (Louis, JRSS B 44 (1982) 226).

    Some lives at a time: of all, what is worked out on the way would be several times ``score``.
    """
    life, lost = records.rows.life, np.zeros((score.shape[1], score.shape[1]))
    several = np.flatnonzero(np.bincount(life)[life] > 1)
    several = several[np.argsort(life[several], kind="stable")]
    begins = np.flatnonzero(np.diff(life[several], prepend=-1))
    for first in range(0, len(begins), _LIVES_AT_ONCE):
        own = np.append(begins, len(several))[first : first + _LIVES_AT_ONCE + 1]
        rows = several[own[0] : own[-1]]
        part = score[rows]
        mean = np.add.reduceat(part, own[:-1] - own[0], axis=0)
        times = np.maximum(records.rows.times[several[own[:-1]]], 1e-300)
        lost += part.T @ (part / np.maximum(weight[rows], 1e-300)[:, None])
        lost -= mean.T @ (mean / times[:, None])
    return lost
