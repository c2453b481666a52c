"""New parts that fail again soon after they were fitted.

The rate is the same for all parts, gamma distributed: an assumed prior moved by the sensors fitted
here that were replaced again within the days watched. A need that comes evenly over t days leaves
its new part t / 2 days on the mean; the chance that it asks again by then is

    (1/t) * integral over u from 0 to t of (1 - exp(-r u)) du = 1 - (1 - exp(-r t)) / (r t).

A third part for the same sensor within the horizon is left out.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from models.stock.schemas import REPEATS

#: Prior of the rate: half a repeat in so many sensor days, 1 in 100 in half a year; assumed.
PRIOR_REPEATS, PRIOR_DAYS = 0.5, 0.5 / (0.01 / 182)


def repeat_rate(repeats: pd.DataFrame) -> float:
    """Rate per day at which a sensor fitted here asks for a part again soon, posterior mean.

    Parameters
    ----------
    repeats : frame
        REPEATS, one row.
    """
    row = REPEATS.check(repeats).iloc[0]
    return float((PRIOR_REPEATS + row["n_repeats"]) / (PRIOR_DAYS + row["days"]))


def asks_twice(chances: np.ndarray, days: np.ndarray, rate: float) -> np.ndarray:
    """Chance of asking for two parts within ``days``, from that of asking for one.

    Parameters
    ----------
    chances : array
        Chance of a need within ``days``.
    days : array that can be broadcast to it
        Days ahead, 0 or more.
    rate : float
        Rate of repeats per day.
    """
    x = rate * np.asarray(days, float)
    again = np.where(x < 1e-4, x / 2, 1 + np.expm1(-x) / np.maximum(x, 1e-12))
    return chances * again
