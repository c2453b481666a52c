"""Penalised regression against statsmodels' GLM and GLMGam on the same counts."""

import numpy as np
import pytest
import statsmodels.api as sm
from statsmodels.gam.api import BSplines, GLMGam

from models.wear.penalised import Cells, Penalty, fit_penalised, penalty_matrix

PLACES = np.linspace(1.0, 99.0, 50)


def counts(seed=3, rows=4):
    rng = np.random.default_rng(seed)
    C = np.column_stack([np.ones(rows), np.linspace(-1.0, 1.0, rows)])
    curve = 1.5 * np.exp(-(((PLACES - 30.0) / 12.0) ** 2)) - 1.0
    exposure = rng.uniform(0.0, 8.0, (rows, 50))
    exposure[:, :3] = 0.0
    mean = np.exp(curve + 0.8 * C[:, 1:] * np.sin(PLACES / 12.0))
    return C, exposure, rng.poisson(mean * exposure).astype(float), mean


def design(C, B):
    return np.einsum("ir,bp->ibrp", C, B).reshape(len(C) * len(B), -1)


def polynomial():
    u = PLACES / 50.0 - 1.0
    return np.column_stack([np.ones(50), u, u**2, u**3])


def test_without_penalty_it_is_the_glm_of_statsmodels():
    C, exposure, y, _ = counts()
    B = polynomial()
    ours = fit_penalised(Cells(C, B, y, exposure), [], ridge=1e-9)
    seen = exposure.ravel() > 0
    X = design(C, B)[seen]
    reference = sm.GLM(
        y.ravel()[seen], X, sm.families.Poisson(), offset=np.log(exposure.ravel()[seen])
    ).fit(tol=1e-12)
    assert ours.beta.ravel() == pytest.approx(reference.params, abs=1e-5)
    error = np.sqrt(np.diag(ours.covariance))
    assert error == pytest.approx(reference.bse, rel=1e-4)


def test_gamma_is_the_glm_of_statsmodels():
    C, exposure, _, mean = counts()
    B = polynomial()
    rng = np.random.default_rng(5)
    many = np.ceil(exposure)
    y = np.where(many > 0, rng.gamma(25.0 * np.maximum(many, 1), mean / 25.0), 0.0)
    ours = fit_penalised(Cells(C, B, y, many, "gamma"), [], ridge=1e-9)
    seen = many.ravel() > 0
    reference = sm.GLM(
        (y / np.maximum(many, 1)).ravel()[seen],
        design(C, B)[seen],
        sm.families.Gamma(sm.families.links.Log()),
        freq_weights=many.ravel()[seen],
    ).fit(tol=1e-12)
    assert ours.beta.ravel() == pytest.approx(reference.params, abs=1e-4)


def test_with_a_penalty_it_is_the_gam_of_statsmodels():
    _, exposure, y, _ = counts(rows=1)
    seen = exposure[0] > 0
    smoother = BSplines(PLACES[seen][:, None], df=[12], degree=[3], include_intercept=[False])
    alpha = 0.05
    offset = np.log(exposure[0][seen])
    reference = GLMGam(
        y[0][seen],
        exog=np.ones((int(seen.sum()), 1)),
        smoother=smoother,
        alpha=[alpha],
        family=sm.families.Poisson(),
        offset=offset,
    ).fit(tol=1e-10)
    B = np.column_stack([np.ones(int(seen.sum())), smoother.basis])
    along = np.zeros((B.shape[1], B.shape[1]))
    along[1:, 1:] = smoother.penalty_matrices[0]
    cells = Cells(np.ones((1, 1)), B, y[:, seen], exposure[:, seen])
    # their objective takes off alpha b'Sb, ours half a weight times it
    ours = fit_penalised(
        cells,
        [Penalty(slice(0, 1), np.eye(1), along)],
        ridge=1e-9,
        weights=np.array([2.0 * alpha]),
    )
    assert cells.log_mean(ours.beta)[0] == pytest.approx(
        np.log(reference.fittedvalues) - offset, abs=2e-3
    )


def test_penalty_weights_find_the_top_of_the_marginal_likelihood():
    C, exposure, y, _ = counts(rows=6)
    B = np.eye(50)
    D = np.diff(np.eye(50), 2, axis=0)
    cells = Cells(C, B, y, exposure)
    penalties = [Penalty(slice(0, 1), np.eye(1), D.T @ D), Penalty(slice(1, 2), np.eye(1), D.T @ D)]
    best = fit_penalised(cells, penalties, max_iter=300, tol=1e-4)
    for k in range(2):
        for factor in (0.5, 2.0):
            moved = best.weights.copy()
            moved[k] *= factor
            there = fit_penalised(cells, penalties, weights=moved)
            assert there.log_marginal < best.log_marginal + 1e-3


def test_a_great_penalty_leaves_the_curve_that_costs_nothing():
    C, exposure, y, _ = counts()
    D = np.diff(np.eye(50), 1, axis=0)
    fit = fit_penalised(
        Cells(C[:, :1], np.eye(50), y, exposure),
        [Penalty(slice(0, 1), np.eye(1), D.T @ D)],
        ridge=1e-9,
        weights=np.array([1e6]),
    )
    flat = np.log(y.sum() / exposure.sum())
    assert fit.beta[0] == pytest.approx(np.full(50, flat), abs=0.01)
    assert fit.edf == pytest.approx(1.0, abs=0.1)


def test_penalties_add_up():
    D = np.diff(np.eye(3), 1, axis=0)
    S = penalty_matrix([Penalty(slice(1, 2), np.eye(1), D.T @ D)], np.array([2.0]), 2, 3, 0.5)
    assert S[:3, :3] == pytest.approx(0.5 * np.eye(3))
    assert S[3:, 3:] == pytest.approx(0.5 * np.eye(3) + 2.0 * D.T @ D)
