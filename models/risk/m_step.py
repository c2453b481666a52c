"""The M-step of the hazard's fit: a Poisson regression on rows of person-km."""

from __future__ import annotations

import numpy as np
from sklearn.linear_model import PoissonRegressor

from models.risk.expectation import Expected


def regressor() -> PoissonRegressor:
    """Starts each step from where the last one ended."""
    return PoissonRegressor(
        fit_intercept=False, solver="newton-cholesky", warm_start=True, tol=1e-8, max_iter=50
    )


def m_step(
    step: PoissonRegressor, design: np.ndarray, expected: Expected, assumed: np.ndarray
) -> np.ndarray:
    """Poisson regression of expected events on exposure, as a departure from the assumed curve.

    scikit-learn has no offset; events / exposure weighted by exposure has the same likelihood.
    """
    exposure = expected.exposure * assumed
    used = exposure > 0
    weight = exposure[used]
    step.set_params(alpha=1.0 / weight.sum())
    step.fit(design[used], expected.events[used] / weight, sample_weight=weight)
    return step.coef_.copy()
