"""Statistical tolerance intervals: factors of normal theory and ranks of order statistics.

A tolerance interval holds at least a stated share of all sensors (the coverage) with a stated
confidence. Sources: NIST/SEMATECH e-Handbook of Statistical Methods, 7.2.6.3 (normal theory, with
Howe's approximation) and 7.2.6.4 (order statistics); the two-sided factor is exact, by the
integral in Odeh, Communications in Statistics B 7 (1978) 183-201.
"""

from __future__ import annotations

from bisect import bisect_left
from functools import lru_cache
from math import sqrt

import numpy as np
from scipy.optimize import brentq
from scipy.stats import beta, chi2, nct, ncx2, norm

_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(96)
_FARTHEST_SD = 8.0  # a sample mean lies farther from the true one in 1 of 1e15 samples


def _demand(n: int, coverage: float, confidence: float) -> None:
    if n < 2:
        raise ValueError(f"a tolerance factor needs at least 2 values, got {n}")
    _demand_shares(coverage, confidence)


def _demand_shares(coverage: float, confidence: float) -> None:
    for name, share in (("coverage", coverage), ("confidence", confidence)):
        if not 0 < share < 1:
            raise ValueError(f"{name} must lie between 0 and 1, got {share}")


@lru_cache(maxsize=4096)
def one_sided_factor(n: int, *, coverage: float = 0.95, confidence: float = 0.95) -> float:
    """Exact k of the one-sided normal limit mean + k·sd, by the noncentral t distribution.

    Parameters
    ----------
    n : int
        Values behind mean and standard deviation, at least 2.
    coverage, confidence : float
        Share of all sensors within the limit, and how sure of that; both between 0 and 1.

    Raises
    ------
    ValueError
        n below 2, or a share outside 0 to 1.
    """
    _demand(n, coverage, confidence)
    return float(nct.ppf(confidence, n - 1, norm.ppf(coverage) * sqrt(n)) / sqrt(n))


@lru_cache(maxsize=4096)
def two_sided_factor(n: int, *, coverage: float = 0.95, confidence: float = 0.95) -> float:
    """Exact k of the two-sided normal interval mean ± k·sd, by numerical integration.

    For a sample mean off by z standard deviations, the half-width r(z) that still holds the
    coverage solves Φ(z + r) - Φ(z - r) = coverage; k is the factor at which
    P(k·s ≥ r(z)), averaged over z ~ N(0, 1/n), equals the confidence. Parameters and errors as
    in `one_sided_factor`.
    """
    _demand(n, coverage, confidence)
    farthest = _FARTHEST_SD / sqrt(n)
    z = farthest * (_NODES + 1) / 2
    weight = _WEIGHTS * farthest * norm.pdf(z, scale=1 / sqrt(n))  # both halves: twice one half
    r_squared = ncx2.ppf(coverage, 1, z**2)

    def too_sure(k: float) -> float:
        return float(weight @ chi2.sf((n - 1) * r_squared / k**2, n - 1)) - confidence

    start = howe_factor(n, coverage=coverage, confidence=confidence)
    return float(brentq(too_sure, start / 4, start * 4, xtol=1e-10))


def howe_factor(n: int, *, coverage: float = 0.95, confidence: float = 0.95) -> float:
    """Howe's approximation of the two-sided factor (JASA 64 (1969) 610-620), as a check."""
    _demand(n, coverage, confidence)
    half_width = norm.ppf((1 + coverage) / 2)
    return float(
        half_width * sqrt((n - 1) * (1 + 1 / n) / chi2.ppf(1 - confidence, n - 1)),
    )


@lru_cache(maxsize=256)
def sample_size_needed(*, sides: int = 2, coverage: float = 0.95, confidence: float = 0.95) -> int:
    """Fewest values from which extremes alone make a distribution-free interval.

    With `sides` 1 the limit is the greatest (or least) value, with 2 the interval runs from the
    least to the greatest. 95/95: 59 and 93.
    """
    _demand_shares(coverage, confidence)
    if sides not in (1, 2):
        raise ValueError(f"sides must be 1 or 2, got {sides}")
    n = sides
    while _confidence_when_trimmed(n, sides, coverage) < confidence:
        n += 1
    return n


def _confidence_when_trimmed(n: int, trimmed: int, coverage: float) -> float:
    """How sure it is that the coverage is held after leaving out `trimmed` of n + 1 gaps.

    The share held between two order statistics follows Beta(n + 1 - trimmed, trimmed), whatever
    the distribution (Wilks 1941).
    """
    return float(beta.sf(coverage, n + 1 - trimmed, trimmed)) if trimmed <= n else 0.0


def trimmed_gaps(
    n: int, *, sides: int = 2, coverage: float = 0.95, confidence: float = 0.95
) -> int:
    """Gaps that may be left out on each side named: 1 means the interval ends at the extreme.

    0 where n values are too few for a distribution-free interval.
    """
    _demand_shares(coverage, confidence)
    # The more is left out, the less sure it is: so many gaps stand before the first too many.
    return bisect_left(
        range(1, n + 1),
        True,
        key=lambda gaps: _confidence_when_trimmed(n, sides * gaps, coverage) < confidence,
    )
