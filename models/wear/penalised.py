"""Penalised count and gamma regression on an array of travel bins by rows of covariates.

The log mean of row i and bin b is ``C[i] @ beta @ B[b]``: every column of the row's design C has a
curve over the travel of its own, in the spline basis B. Kept as arrays, the normal equations of a
few hundred rows and 50 bins cost a few matrix products (Currie, Durban & Eilers, JRSS B 68 (2006)
259, from memory). Penalties are quadratic (Eilers & Marx, Statistical Science 11 (1996) 89), that
is normal priors; their weights rise to the maximum of the Laplace approximate marginal likelihood
by the updates of Wood & Fasiolo, Biometrics 73 (2017) 1071 (from memory).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.linalg import cho_factor, cho_solve
from scipy.linalg.lapack import dpotri

MOST_ETA = 25.0  # the log mean is held within this, against overflow on the way
WEIGHT_LIMITS = (1e-3, 1e6)


@dataclass(frozen=True)
class Cells:
    """What was seen, a row a covariate pattern, a column a travel bin.

    rows : design of the rows C, shape (m, R). bins : spline basis B, shape (bins, P).
    total : sum of counts (or of roughness), shape (m, bins). exposure : sum of exposure (or number
    of values), same shape. family : ``poisson`` or ``gamma``.
    """

    rows: np.ndarray
    bins: np.ndarray
    total: np.ndarray
    exposure: np.ndarray
    family: str = "poisson"

    def log_mean(self, beta: np.ndarray) -> np.ndarray:
        """Log mean of every row and bin, shape (m, bins); ``beta`` of shape (R, P)."""
        return np.clip(self.rows @ beta @ self.bins.T, -MOST_ETA, MOST_ETA)

    def log_likelihood(self, beta: np.ndarray) -> float:
        """Up to a constant; of a gamma with unit dispersion."""
        eta = self.log_mean(beta)
        if self.family == "gamma":
            return float(-(self.exposure * eta + self.total * np.exp(-eta)).sum())
        return float((self.total * eta - self.exposure * np.exp(eta)).sum())

    def score_and_weight(self, beta: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Derivative by the log mean, and minus the second derivative: shape (m, bins) each."""
        eta = self.log_mean(beta)
        if self.family == "gamma":
            ratio = self.total * np.exp(-eta)
            return ratio - self.exposure, ratio
        mean = self.exposure * np.exp(eta)
        return self.total - mean, mean

    def information(self, weight: np.ndarray) -> np.ndarray:
        """Observed information of ``beta`` row by row, shape (R P, R P)."""
        R, P = self.rows.shape[1], self.bins.shape[1]
        pairs = (self.rows[:, :, None] * self.rows[:, None, :]).reshape(-1, R * R)
        curves = (self.bins[:, :, None] * self.bins[:, None, :]).reshape(-1, P * P)
        product = pairs.T @ (weight @ curves)
        return product.reshape(R, R, P, P).transpose(0, 2, 1, 3).reshape(R * P, R * P)


@dataclass(frozen=True)
class Penalty:
    """``weight * (across ⊗ along)`` on a block of the rows of ``beta``.

    columns : slice of the rows of beta. across : shape (c, c). along : shape (P, P).
    guess, trust : prior guess of the weight, and how many squared terms it is worth.
    """

    columns: slice
    across: np.ndarray
    along: np.ndarray
    guess: float = 1.0
    trust: float = 0.0

    def eigenvalues(self) -> np.ndarray:
        """Of ``across ⊗ along``, shape (c, P); penalties of a block share their eigenvectors."""
        return np.outer(np.linalg.eigvalsh(self.across), np.linalg.eigvalsh(self.along))

    def square(self, beta: np.ndarray) -> float:
        """Quadratic form of ``beta``."""
        own = beta[self.columns]
        return float(((self.across @ own @ self.along) * own).sum())

    def trace(self, covariance: np.ndarray, P: int) -> float:
        """Trace of the covariance times the penalty matrix."""
        first, last = self.columns.start * P, self.columns.stop * P
        c = self.columns.stop - self.columns.start
        block = covariance[first:last, first:last].reshape(c, P, c, P)
        return float(np.einsum("ipjq,ij,pq->", block, self.across, self.along, optimize=True))


@dataclass(frozen=True)
class Fitted:
    """beta : shape (R, P). weights : of the penalties. covariance : inverse of information plus
    penalty, (R P, R P). edf : effective number of coefficients. log_marginal : Laplace's, up to a
    constant.
    """

    beta: np.ndarray
    weights: np.ndarray
    covariance: np.ndarray
    information: np.ndarray
    penalty: np.ndarray
    edf: float
    n_iter: int
    log_marginal: float


def fit_penalised(
    cells: Cells,
    penalties: list[Penalty],
    ridge: float = 2e-3,
    weights: np.ndarray | None = None,
    max_iter: int = 60,
    tol: float = 2e-2,
) -> Fitted:
    """Coefficients and penalty weights; ``weights`` given are held.

    Parameters
    ----------
    cells : Cells
        What was seen.
    penalties : list of Penalty
        Those on one block of rows must share eigenvectors.
    ridge : float
        Fixed weak precision of every coefficient.
    weights : array, optional
        Weights of the penalties, to be held.
    max_iter : int
        Most Newton steps.
    tol : float
        Stop when no penalty's log weight moves by more, and the score is small.
    """
    R, P = cells.rows.shape[1], cells.bins.shape[1]
    held = weights is not None
    lam = np.array([p.guess for p in penalties]) if weights is None else np.asarray(weights)
    beta, values = np.zeros((R, P)), [p.eigenvalues() for p in penalties]
    moved, turns = np.inf, 0
    while turns < max_iter:
        turns += 1
        S = penalty_matrix(penalties, lam, R, P, ridge)
        beta, step, factor = _newton(cells, beta, S)
        settled = step < 1e-3
        if held or (settled and moved < tol):
            if settled:
                break
            continue
        covariance = _inverse(factor)
        new = _moved_weights(penalties, values, lam, beta, covariance, ridge)
        moved = float(np.abs(np.log(new / lam)).max(initial=0.0))
        lam = new
    S = penalty_matrix(penalties, lam, R, P, ridge)
    _, weight = cells.score_and_weight(beta)
    info = cells.information(weight)
    factor = cho_factor(info + S)
    covariance = _inverse(factor)
    edf = R * P - float((covariance * S).sum())
    height = cells.log_likelihood(beta) - 0.5 * float(beta.ravel() @ S @ beta.ravel())
    height += 0.5 * np.linalg.slogdet(S)[1] - np.log(np.diag(factor[0])).sum()
    return Fitted(beta, lam, covariance, info, S, edf, turns, float(height))


def penalty_matrix(
    penalties: list[Penalty], weights: np.ndarray, R: int, P: int, ridge: float
) -> np.ndarray:
    """Sum of the weighted penalties and the ridge, shape (R P, R P)."""
    S = ridge * np.eye(R * P)
    for penalty, weight in zip(penalties, weights, strict=True):
        at = slice(penalty.columns.start * P, penalty.columns.stop * P)
        S[at, at] += weight * np.kron(penalty.across, penalty.along)
    return S


def _inverse(factor: tuple[np.ndarray, bool]) -> np.ndarray:
    """Inverse from a Cholesky factor, upper as ``cho_factor`` gives it."""
    upper, _ = dpotri(factor[0], lower=False)
    upper = np.triu(upper)
    return upper + np.triu(upper, 1).T


def _newton(
    cells: Cells, beta: np.ndarray, S: np.ndarray
) -> tuple[np.ndarray, float, tuple[np.ndarray, bool]]:
    """One Newton step, halved until the penalised likelihood rises; its gain and the factor."""
    score, weight = cells.score_and_weight(beta)
    gradient = (cells.rows.T @ score @ cells.bins).ravel() - S @ beta.ravel()
    factor = cho_factor(cells.information(weight) + S)
    step = cho_solve(factor, gradient)

    def height(at: np.ndarray) -> float:
        return cells.log_likelihood(at) - 0.5 * float(at.ravel() @ S @ at.ravel())

    before, share = height(beta), 1.0
    while share > 1e-4:
        tried = beta + share * step.reshape(beta.shape)
        if height(tried) >= before - 1e-9 * abs(before):
            break
        share /= 2.0
    return tried, float(gradient @ step), factor


def _moved_weights(
    penalties: list[Penalty],
    values: list[np.ndarray],
    lam: np.ndarray,
    beta: np.ndarray,
    covariance: np.ndarray,
    ridge: float,
) -> np.ndarray:
    """One step of Wood & Fasiolo's update, each weight with a gamma prior about its guess."""
    new = np.empty_like(lam)
    for k, penalty in enumerate(penalties):
        block = [j for j, p in enumerate(penalties) if p.columns == penalty.columns]
        total = ridge + sum(lam[j] * values[j] for j in block)
        free = float((values[k] / total).sum()) - penalty.trace(covariance, beta.shape[1])
        top = lam[k] * max(free, 1e-6) + penalty.trust
        bottom = penalty.square(beta) + penalty.trust / penalty.guess
        new[k] = np.clip(top / max(bottom, 1e-12), *WEIGHT_LIMITS)
    return new
