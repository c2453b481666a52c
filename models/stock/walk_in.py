"""Parts asked for by bikes never seen before, by shop and part, from their first visits.

The number asked for in e days is Poisson with mean m w e g: m the rate over all shops and parts, w
the cell's share of all first visits (its shop's share times its part's), and g how far the cell
departs from that, gamma distributed with mean 1 and shape a. The posterior of the cell's rate is
then gamma with shape a + n and rate a / (m w) + e, drawn to its like the more, the less was seen
(empirical Bayes; Gelman et al., Bayesian Data Analysis, 3rd ed. 2013, sec. 2.6 and 2.7; Robbins
1956; from memory). Over t days ahead the number is negative binomial.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
from scipy.special import gammaln
from scipy.stats import gamma

from models.stock.schemas import FIRST_VISITS, WALK_INS
from models.stock.settings import DAYS_A_YEAR

#: Shapes tried for the departure of a cell; assumed.
_SHAPES = np.geomspace(0.3, 30.0, 60)
#: Shape taken where fewer parts than this were asked for in all; assumed.
SHAPE_IF_FEW, FEW = 1.0, 10
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
    share = _share(rows)
    watched = float(np.sum(share * days))
    rate = (asked.sum() + (_HALF if asked.sum() == 0 else 0.0)) / max(watched, 1.0)
    expected = rate * share
    shape = departure_shape(asked, expected * days)
    after, rate_days = shape + asked, shape / expected + days
    tails = (1 - level) / 2, (1 + level) / 2
    low, high = (gamma.ppf(tail, after) / rate_days * DAYS_A_YEAR for tail in tails)
    return WALK_INS.check(
        rows.assign(
            shape=after,
            rate_days=rate_days,
            per_year=after / rate_days * DAYS_A_YEAR,
            per_year_low=low,
            per_year_high=high,
            own_share=days / rate_days,
        )
    )


def departure_shape(asked: np.ndarray, expected: np.ndarray) -> float:
    """Shape of the cells' departure by marginal likelihood; ``SHAPE_IF_FEW`` below ``FEW`` parts.

    Given the shape a, the number asked for in a cell is negative binomial with the mean expected.
    """
    if asked.sum() < FEW or len(asked) < 3:
        return SHAPE_IF_FEW
    a, n, mean = _SHAPES[:, None], asked[None, :], np.maximum(expected, 1e-12)[None, :]
    terms = gammaln(a + n) - gammaln(a) + a * np.log(a / (a + mean)) + n * np.log(mean / (a + mean))
    return float(_SHAPES[np.argmax(terms.sum(axis=1))])


def _share(rows: pd.DataFrame) -> np.ndarray:
    """Each cell's share of the first visits of one day, its shop's times its part's."""
    per_day = rows["n_visits"] + _HALF
    shops = per_day.groupby(rows["shop_id"]).transform("sum")
    parts = per_day.groupby(rows["part_no"]).transform("sum")
    share = (shops * parts).to_numpy(float)
    return share / share.sum()
