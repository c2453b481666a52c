"""Prices and wear for tests of the plans, in one invented shop."""

import numpy as np

from models.plans.costs import Prices
from models.plans.policy import KM_AHEAD

USUAL = {
    "test": 55.0,
    "replace": 196.0,
    "found": 176.0,
    "false_alarm": 216.0,
    "heard": 520.0,
    "usual_per_km": 0.006,
}


def prices(n=1, **changed):
    return Prices(**{name: np.full(n, float(v)) for name, v in (USUAL | changed).items()})


def onset_from(age_km, *, shape=2.5, scale_km=70_000.0, km=KM_AHEAD):
    """Chance of the defect within each step for sensors of Weibull wear at some ages."""
    hazard = ((np.atleast_1d(age_km)[:, None] + km) / scale_km) ** shape
    return -np.expm1(-np.diff(hazard, axis=1))
