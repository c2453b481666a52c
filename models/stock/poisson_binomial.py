"""Exact distribution of the number of parts that independent sensors ask for.

With the chance p_i that sensor i asks for a part, the number asked for is Poisson-binomial. Its
distribution is built by taking the sensors in one by one,

    P_i(k) = P_{i-1}(k) (1 - p_i) + P_{i-1}(k - 1) p_i,

the recursion of Barlow & Heidtmann (IEEE Trans. Reliability R-33 (1984) 322), cited by Hong, "On
computing the distribution function for the Poisson binomial distribution", Computational
Statistics & Data Analysis 59 (2013) 41, eq. 9 (both from memory). All terms are positive, so that
each probability keeps its relative accuracy far into the tail, where a Fourier transform leaves
about 1e-16 of noise; and P(k) needs nothing above k, so that stopping at some k loses nothing.
Many groups, draws and horizons are taken in side by side. The recursion takes as many steps as the
largest group has sensors, each over all counts; groups of more than ``_MANY`` sensors go by their
characteristic function instead (``models.stock.transform``), right to 1e-13.

A sensor may ask twice, where its new part fails again: with q_i the chance of that, it asks for 0,
1 or 2 parts with chances 1 - p_i, p_i - q_i and q_i, and the recursion has three terms.
"""

from __future__ import annotations

import numpy as np
from scipy.fft import next_fast_len
from scipy.sparse import csr_array

from models.stock.counts import CountDistribution
from models.stock.transform import by_transform

#: Probability that may lie above the last count kept; means and back orders stay exact.
TAIL = 1e-12
#: What may lie beyond the counts that a transform tells apart.
_BEYOND = 1e-17
#: Sensors in a group above which it goes by its transform.
_MANY = 100


def poisson_binomial(
    chances: np.ndarray,
    group: np.ndarray | None = None,
    n_groups: int | None = None,
    *,
    twice: np.ndarray | None = None,
    size: int | None = None,
) -> CountDistribution:
    """Distribution of the number of parts asked for, by group.

    Parameters
    ----------
    chances : array of shape (n, ...)
        Chance that each sensor asks for a part; further axes (draws, horizons) are kept.
    group : array of shape (n,), optional
        Number of each sensor's group, 0 to ``n_groups - 1``; one group without it.
    n_groups : int, optional
        How many groups there are; a group without sensors asks for nothing.
    twice : array of the shape of ``chances``, optional
        Chance that it asks for two, at most ``chances``.
    size : int, optional
        Counts 0 to ``size - 1`` are kept; by default so many that less than ``TAIL`` lies beyond.

    Returns
    -------
    CountDistribution of shape (n_groups, ...)

    Raises
    ------
    ValueError
        A chance outside 0 to 1, or ``twice`` above ``chances``.
    """
    chances = np.asarray(chances, dtype=float)
    twice = None if twice is None else np.asarray(twice, dtype=float)
    _refuse(chances, twice)
    group = np.zeros(len(chances), dtype=int) if group is None else np.asarray(group)
    n_groups = n_groups or int(group.max(initial=0)) + 1
    mean = by_group(chances, group, n_groups)
    if twice is not None:
        mean = mean + by_group(twice, group, n_groups)
    most = np.bincount(group, minlength=n_groups).max(initial=0) * (1 if twice is None else 2)
    size = size or min(int(most), counts_needed(mean, 1 if twice is None else 2)) + 1
    members = np.bincount(group, minlength=n_groups)
    few = members[group] <= _MANY
    some_twice = None if twice is None else twice[few]
    pmf = _taken_in(chances[few], some_twice, group[few], n_groups, size)
    for number in np.flatnonzero(members > _MANY).tolist():
        own = group == number
        pmf[number] = _of_many(chances[own], None if twice is None else twice[own], size)
    return CountDistribution(pmf, mean)


def counts_needed(mean: np.ndarray, largest: int = 1, tail: float = TAIL) -> int:
    """Least count above which the chance is below ``tail``, by Bernstein's inequality.

    For a sum of independent terms between 0 and b with mean m, the variance is at most b m and
    P(X >= m + t) <= exp(-t^2 / (2 (b m + b t / 3))) (Boucheron, Lugosi & Massart, Concentration
    Inequalities, 2013, cor. 2.11, from memory).
    """
    m, log = float(np.max(mean, initial=0.0)), -np.log(tail)
    t = largest * log / 3 + np.sqrt((largest * log / 3) ** 2 + 2 * log * largest * m)
    return int(np.ceil(m + t))


def _refuse(chances: np.ndarray, twice: np.ndarray | None) -> None:
    if not np.all((chances >= 0) & (chances <= 1)):
        raise ValueError("each chance must lie from 0 to 1")
    if twice is not None and not np.all((twice >= 0) & (twice <= chances)):
        raise ValueError("the chance of asking twice must lie from 0 to the chance of asking")


def by_group(values: np.ndarray, group: np.ndarray, n_groups: int) -> np.ndarray:
    """Sums of values of shape (n, ...) by each one's group, shape (n_groups, ...)."""
    member = csr_array(
        (np.ones(len(group)), (group, np.arange(len(group)))), (n_groups, len(group))
    )
    total = member @ values.reshape(len(group), int(np.prod(values.shape[1:])))
    return total.reshape(n_groups, *values.shape[1:])


def _of_many(chances: np.ndarray, twice: np.ndarray | None, size: int) -> np.ndarray:
    """One large group by its transform, shape (..., size)."""
    flat = chances.reshape(len(chances), -1, chances.shape[-1] if chances.ndim > 1 else 1)
    again = None if twice is None else twice.reshape(flat.shape)
    largest = 1 if twice is None else 2
    found = np.empty((*flat.shape[1:], size))
    for k in range(flat.shape[2]):  # horizons differ in how many counts and frequencies they need
        p, q = flat[:, :, k], None if again is None else again[:, :, k]
        before = _same_before(flat, again, k)
        if before is not None:
            found[:, k] = found[:, before]
            continue
        mean = p.sum(axis=0) + (0.0 if q is None else q.sum(axis=0))
        most = min(largest * len(p), counts_needed(mean, largest, _BEYOND))
        length = next_fast_len(most + 1, real=True)
        found[:, k] = by_transform(p, q, length, size)
    return found.reshape(*chances.shape[1:], size)


def _same_before(chances: np.ndarray, twice: np.ndarray | None, at: int) -> int | None:
    """An earlier horizon whose chances are the very same, such as where no parts are due."""
    columns = [chances] if twice is None else [chances, twice]
    for before in range(at):
        # told apart by the first sensor's as a rule
        if all(np.array_equal(of[:1, :, before], of[:1, :, at]) for of in columns) and all(
            np.array_equal(of[:, :, before], of[:, :, at]) for of in columns
        ):
            return before
    return None


def _taken_in(
    chances: np.ndarray, twice: np.ndarray | None, group: np.ndarray, n_groups: int, size: int
) -> np.ndarray:
    """The recursion, step i taking in the i-th sensor of every group that has so many.

    Counts lie along the first axis: a step then moves whole blocks of memory.
    """
    members = np.bincount(group, minlength=n_groups)
    largest_first = np.argsort(-members, kind="stable")
    place = np.empty(n_groups, dtype=int)
    place[largest_first] = np.arange(n_groups)
    by_group = np.argsort(place[group], kind="stable")
    start = np.concatenate([[0], np.cumsum(members[largest_first])[:-1]])
    left = np.searchsorted(-members[largest_first], -np.arange(members.max(initial=0)), "left")
    pmf = np.zeros((size, n_groups, *chances.shape[1:]))
    pmf[0] = 1.0
    step = 1 if twice is None else 2
    for i, many in enumerate(left):
        sensors = by_group[start[:many] + i]
        top = min(size, step * (i + 1) + 1)  # no more can have been asked for yet
        p = chances[sensors]
        old = pmf[:top, :many].copy()
        pmf[:top, :many] *= 1 - p
        if twice is None:
            pmf[1:top, :many] += old[: top - 1] * p
        else:
            q = twice[sensors]
            pmf[1:top, :many] += old[: top - 1] * (p - q)
            pmf[2:top, :many] += old[: top - 2] * q
    return np.moveaxis(pmf, 0, -1)[place]
