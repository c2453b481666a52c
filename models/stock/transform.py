"""The number of parts that many sensors ask for, by its characteristic function.

With w = exp(-2 pi i l / N), the sensors' terms 1 - p + (p - q) w + q w^2 multiplied together are
the discrete transform of the number asked for, and the transform back gives its chances (Hong,
Computational Statistics & Data Analysis 59 (2013) 41, sec. 2.4, from memory). It differs from the
exact chances by no more than

- what lies N counts and more above, since counts are taken modulo N: below ``_LEFT_OUT`` by the
  choice of N (``counts_needed``), nothing where N is beyond the most that can be asked for;
- the frequencies left out. With b = p - q each term obeys
  |term|^2 <= 1 - 2 b (1 - b) (1 - cos t), so that the product is at most exp(-V (1 - cos t)), V the
  sum of b (1 - b); frequencies t are left out from where that is below ``_LEFT_OUT``;
- rounding, an error of about 4 n eps at most in each frequency, of which few are large: below 1e-13
  for some thousand sensors, and a hundred times less as a rule.

Eight sensors' terms are first multiplied out as one polynomial, whose coefficients are the chances
of what those eight ask for: all positive, so that nothing is lost, and one factor takes the place
of eight at every frequency.

So it is right to 1e-13 in absolute terms; far in the tail, where chances are below that, only the
recursion of ``poisson_binomial`` tells them. What is decided by the number of parts needs no more.
"""

from __future__ import annotations

import numpy as np

#: What may be missing from a chance by what is left out.
_LEFT_OUT = 1e-17
#: Sensors whose terms are multiplied out as one polynomial before frequencies are looked at.
_TOGETHER = 8
#: Sensors taken in at a time, so that they stay in the processor's cache.
_AT_ONCE = 64 * _TOGETHER


def by_transform(
    chances: np.ndarray, twice: np.ndarray | None, length: int, size: int
) -> np.ndarray:
    """Chances of 0, 1, ..., ``size - 1`` parts, shape (draws, size).

    Parameters
    ----------
    chances, twice : arrays of shape (n, draws)
        Chance that each sensor asks for a part, and for two.
    length : int
        Number N of counts told apart; what lies beyond must be negligible.
    size : int
        Counts kept.
    """
    once = chances if twice is None else chances - twice
    draws, kept = chances.shape[1], _frequencies(once, length)
    product = np.ones((draws, kept), dtype=complex)
    waves = _waves(kept, length, 1 + _TOGETHER * (1 if twice is None else 2))
    for start in range(0, len(chances), _AT_ONCE):
        some = slice(start, start + _AT_ONCE)
        terms = [1 - chances[some], once[some], *([] if twice is None else [twice[some]])]
        counts = _multiplied_out(_whole_eights(np.stack(terms)))
        at_waves = (counts.reshape(len(counts), -1).T @ waves).view(complex)
        product *= np.multiply.reduce(at_waves.reshape(-1, draws, kept))
    found = np.fft.irfft(product, n=length, axis=-1)[:, :size]
    found = np.pad(found, ((0, 0), (0, size - found.shape[1])))
    return np.maximum(found, 0.0)


def _frequencies(once: np.ndarray, length: int) -> int:
    """How many frequencies, from 0 up, are not left out."""
    spread = float((once * (1 - once)).sum(axis=0).min(initial=np.inf))
    all_of_them = length // 2 + 1
    turn = 1 - np.cos(2 * np.pi * np.arange(all_of_them) / length)
    return max(1, int(np.count_nonzero(spread * turn <= -np.log(_LEFT_OUT))))


def _waves(kept: int, length: int, terms: int) -> np.ndarray:
    """Powers of w by frequency, real and imaginary parts side by side, (terms, 2 kept)."""
    turns = np.outer(np.arange(terms), np.arange(kept)) % length
    waves = np.exp(-2j * np.pi * turns / length)
    return np.ascontiguousarray(waves).view(float)


def _whole_eights(terms: np.ndarray) -> np.ndarray:
    """Terms of shape (counts, n, draws), filled up by sensors that ask for nothing."""
    lacking = -terms.shape[1] % _TOGETHER
    if not lacking:
        return terms
    nobody = np.zeros((len(terms), lacking, terms.shape[2]))
    nobody[0] = 1.0
    return np.concatenate([terms, nobody], axis=1)


def _multiplied_out(terms: np.ndarray) -> np.ndarray:
    """Chances of the numbers that eight sensors each ask for together, (counts, n / 8, draws)."""
    several = 1
    while several < _TOGETHER:
        half, counts = terms.shape[1] // 2, len(terms)
        one, other = terms[:, :half], terms[:, half:]
        terms = np.zeros((2 * counts - 1, half, terms.shape[2]))
        for count in range(counts):
            terms[count : count + counts] += one[count] * other
        several *= 2
    return terms
