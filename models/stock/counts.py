"""A distribution of a number of parts, and what is asked of it.

Its chances are kept up to some count, its mean exactly. What lies above a level S needs only the
chances up to it:

    E[(D - S)+] = E[D] - sum over k < S of P(D > k)

(Axsäter, Inventory Control, 3rd ed. 2015, sec. 5.3; from memory).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.fft import next_fast_len

#: Counts of the shorter of two distributions above which their sum goes by a transform.
_LONG = 24


@dataclass(frozen=True)
class CountDistribution:
    """Chances of 0, 1, 2, ... parts.

    ``pmf`` has shape (..., counts), ``mean`` (...): the exact mean, whatever lies beyond.
    """

    pmf: np.ndarray
    mean: np.ndarray

    @property
    def cdf(self) -> np.ndarray:
        """Chance of so many parts or fewer, never above 1."""
        return np.minimum(np.cumsum(self.pmf, axis=-1), 1.0)

    @property
    def back_orders(self) -> np.ndarray:
        """E[(D - S)+] at each level S = 0, 1, ..., counts: parts that cannot be handed over."""
        above = np.cumsum(1.0 - self.cdf, axis=-1)
        less = np.concatenate([np.zeros_like(above[..., :1]), above], axis=-1)
        return np.maximum(self.mean[..., None] - less, 0.0)

    def of(self, index: object) -> CountDistribution:
        """Part of the distributions, by any index into the leading axes."""
        return CountDistribution(self.pmf[index], self.mean[index])

    def resized(self, size: int) -> CountDistribution:
        """The same with so many counts kept, zeros behind."""
        pmf = self.pmf[..., :size]
        more = size - pmf.shape[-1]
        if more > 0:
            pmf = np.concatenate([pmf, np.zeros((*pmf.shape[:-1], more))], axis=-1)
        return CountDistribution(pmf, self.mean)

    def plus(self, other: CountDistribution) -> CountDistribution:
        """Distribution of the sum of two independent numbers; shapes may be broadcast."""
        size = self.pmf.shape[-1] + other.pmf.shape[-1] - 1
        long, short = (self, other) if self.pmf.shape[-1] >= other.pmf.shape[-1] else (other, self)
        mean = np.asarray(self.mean + other.mean)
        if short.pmf.shape[-1] > _LONG:
            return CountDistribution(_folded(long.pmf, short.pmf, size), mean)
        pmf, counts = np.zeros((*mean.shape, size)), long.pmf.shape[-1]
        product = np.empty((*mean.shape, counts))
        for k in range(short.pmf.shape[-1]):
            if not short.pmf[..., k].any():
                continue
            np.multiply(long.pmf, short.pmf[..., k : k + 1], out=product)
            pmf[..., k : k + counts] += product
        return CountDistribution(pmf, mean)

    def beyond(self, level: np.ndarray | int) -> CountDistribution:
        """Distribution of (D - level)+: what is left to ask for once ``level`` parts are used."""
        size = self.pmf.shape[-1]
        level = np.broadcast_to(np.asarray(level), self.mean.shape)
        at = level[..., None] + np.arange(size)
        moved = np.where(
            at < size, np.take_along_axis(self.pmf, np.minimum(at, size - 1), axis=-1), 0.0
        )
        within = value_at(self.cdf, level, beyond=1.0)
        moved[..., 0] = within
        left = value_at(self.back_orders, level, beyond=0.0)
        return CountDistribution(moved, left)

    def mixed(self, axis: int = -1) -> CountDistribution:
        """Average over an axis of draws: the distribution when the draw is not known."""
        axis = axis if axis >= 0 else self.mean.ndim + axis
        return CountDistribution(self.pmf.mean(axis=axis), self.mean.mean(axis=axis))

    def quantile(self, share: float) -> np.ndarray:
        """Least number that is not exceeded with the chance ``share``."""
        reached = self.cdf >= share - 1e-12
        last = self.pmf.shape[-1] - 1
        return np.where(reached.any(axis=-1), np.argmax(reached, axis=-1), last)


def _folded(one: np.ndarray, other: np.ndarray, size: int) -> np.ndarray:
    """Chances of the sum by a discrete transform, right to about 1e-16; quicker for long ones."""
    length = next_fast_len(size, real=True)
    product = np.fft.rfft(one, length, axis=-1) * np.fft.rfft(other, length, axis=-1)
    return np.maximum(np.fft.irfft(product, length, axis=-1)[..., :size], 0.0)


def value_at(table: np.ndarray, level: np.ndarray, beyond: float) -> np.ndarray:
    """Value of a table over counts (last axis) at whole levels; ``beyond`` its end, 0 below 0."""
    level = np.asarray(level)
    last = table.shape[-1] - 1
    index = np.clip(level, 0, last)[..., None]
    found = np.take_along_axis(table, index, axis=-1)[..., 0]
    return np.where(level > last, beyond, found)


def negative_binomial(shape: np.ndarray, mean: np.ndarray, size: int) -> CountDistribution:
    """Poisson numbers whose rate is gamma distributed: P(k) by recursion from P(0).

    With success probability s = shape / (shape + mean), P(0) = s^shape and
    P(k + 1) = P(k) (k + shape) / (k + 1) (1 - s) (Johnson, Kemp & Kotz, Univariate Discrete
    Distributions, 3rd ed. 2005, sec. 5.1; from memory).

    Parameters
    ----------
    shape, mean : arrays of one shape
        Shape of the gamma distribution, and mean of the number.
    size : int
        How many counts are kept.
    """
    shape, mean = np.broadcast_arrays(np.asarray(shape, float), np.asarray(mean, float))
    chance = shape / (shape + mean)
    pmf = np.empty((*shape.shape, size))
    pmf[..., 0] = chance**shape
    for k in range(size - 1):
        pmf[..., k + 1] = pmf[..., k] * (k + shape) / (k + 1) * (1 - chance)
    return CountDistribution(pmf, mean.copy())
