"""Parts asked for by bikes never seen before, by shop and part, from their first visits.

The number asked for in e days is Poisson with mean m w e g: m the rate over all shops and parts, w
the cell's share of all first visits (its shop's share times its part's), and g how far the cell
departs from that, gamma distributed with mean 1 and shape a. Given m and a, the posterior of the
cell's rate is gamma with shape a + n and rate a / (m w) + e, drawn to its like the more, the less
was seen (Gelman et al., Bayesian Data Analysis, 3rd ed. 2013, sec. 2.6 and ch. 5; from memory).
Neither m nor a is known: both are summed over on a grid, each pair weighing as likely as it makes
the counts, since an interval at the likeliest pair alone would be too narrow. The mixture is handed
on as the gamma of its mean and variance. Over t days ahead the number asked for is then negative
binomial.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
from scipy.special import gammaln
from scipy.stats import gamma

from models.stock.schemas import FIRST_VISITS, WALK_INS
from models.stock.settings import DAYS_A_YEAR

#: Shapes of the departure that are held possible, equally on the log scale; assumed.
_SHAPES = np.geomspace(0.3, 30.0, 24)
#: Rates over all, as multiples of the likeliest.
_RATES = np.geomspace(1 / 30, 10.0, 60)
#: Parts and first visits added before a share or a rate is taken, so that none is 0; assumed.
_HALF = 0.5


def walk_in_rates(first_visits: pd.DataFrame, level: float = 0.9) -> pd.DataFrame:
    """Rate of parts asked for by bikes never seen before, with its interval.

    Parameters
    ----------
    first_visits : frame
        FIRST_VISITS, each shop and part once. A row without days is all prior.
    level : float
        Chance that an interval holds the rate.

    Returns
    -------
    WALK_INS, in the order given
    """
    rows = FIRST_VISITS.check(first_visits).reset_index(drop=True)
    if rows.empty:
        return WALK_INS.empty()
    asked, days = rows["n_asked"].to_numpy(float), rows["days"].to_numpy(float)
    after, rate_days, drawn = _posterior(asked, days, _share(rows))
    tails = (1 - level) / 2, (1 + level) / 2
    low, high = (gamma.ppf(tail, after) / rate_days * DAYS_A_YEAR for tail in tails)
    return WALK_INS.check(
        rows.assign(
            shape=after,
            rate_days=rate_days,
            per_year=after / rate_days * DAYS_A_YEAR,
            per_year_low=low,
            per_year_high=high,
            own_share=1 - drawn,
        )
    )


def _posterior(
    asked: np.ndarray, days: np.ndarray, share: np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Shape and rate of each cell's gamma, and how far it rests on its like, all of shape (n,)."""
    likeliest = (asked.sum() + _HALF) / max(float(np.sum(share * days)), 1.0)
    a, m = (grid.reshape(-1, 1) for grid in np.meshgrid(_SHAPES, likeliest * _RATES))
    weight = _weights(asked, days * share * m, a) * np.sqrt(m)
    weight /= weight.sum()
    shape, rate = a + asked, a / (m * share) + days
    mean = np.sum(weight * shape / rate, axis=0)
    variance = np.sum(weight * (shape / rate**2 + (shape / rate - mean) ** 2), axis=0)
    drawn = np.sum(weight * (1 - days / rate), axis=0)
    return mean**2 / variance, mean / variance, drawn


def _weights(asked: np.ndarray, mean: np.ndarray, a: np.ndarray) -> np.ndarray:
    """Likelihood of all counts, negative binomial given the shape a; shape (pairs, 1).

    With the square root of m beside it, a rate over all has the prior m^(-1/2) (Jeffreys).
    """
    mean = np.maximum(mean, 1e-12)
    log = gammaln(a + asked) - gammaln(a) + a * np.log(a / (a + mean))
    log = np.sum(log + asked * np.log(mean / (a + mean)), axis=1, keepdims=True)
    return np.exp(log - log.max())


def _share(rows: pd.DataFrame) -> np.ndarray:
    """Each cell's share of the first visits of one day, its shop's times its part's."""
    per_day = rows["n_visits"] + _HALF
    shops = per_day.groupby(rows["shop_id"]).transform("sum")
    parts = per_day.groupby(rows["part_no"]).transform("sum")
    share = (shops * parts).to_numpy(float)
    return share / share.sum()
