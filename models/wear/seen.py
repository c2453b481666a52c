"""What a sensor's tests have shown by each of them, laid out for the search for worn bands."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
import pandas as pd

from models.wear.band_grid import CENTRES_PCT
from models.wear.exposure import BIN_PCT, BINS, bin_middles
from models.wear.records import WearRecords

EVEN_SHARE = 0.10  # share of the prior of the place that is even over the travel
_PAIRS_AT_ONCE = 10_000  # tests that follow one another, for the memory
LIVES_AT_ONCE = 2_000  # lives worked on at a time, for the memory: some times ``bands.CHUNK``
BINS_TRUSTED = 10.0  # bins that the usual scatter of roughness counts for beside a session's own


#: The pooled intensity at tests, shape (n, BINS), or what gives the rows of it that are asked for:
#: at a million tests the whole takes as much memory as all that they showed.
Pooled = np.ndarray | Callable[[np.ndarray], np.ndarray]


def pooled_at(pooled: Pooled, rows: np.ndarray) -> np.ndarray:
    """Rows of the pooled intensity."""
    return pooled(rows) if callable(pooled) else pooled[rows]


@dataclass(frozen=True)
class Seen:
    """What is known of a set of sensors: one row each, BINS columns each.

    counts, exposure : drop-outs and passes. rough, n_rough : sum of log roughness,
    number of values, each weighed by how steady its session is.
    prior : prior of the place, shape (n, places), rows adding up to 1. lag_km : how far back, on
    average, what is known was seen, shape (n,). sure_counts, sure_exposure : as counts and
    exposure, without the sweeps whose drop-outs may be the track's or a tugged lead's.
    """

    counts: np.ndarray
    exposure: np.ndarray
    rough: np.ndarray
    n_rough: np.ndarray
    prior: np.ndarray
    lag_km: np.ndarray
    sure_counts: np.ndarray
    sure_exposure: np.ndarray

    def take(self, rows: np.ndarray | slice) -> Seen:
        """Chosen rows."""
        return Seen(*(getattr(self, name)[rows] for name in self.__dataclass_fields__))

    def without(self, low: np.ndarray, high: np.ndarray) -> Seen:
        """As if a stretch of each one's travel had not been swept."""
        middle = bin_middles()
        keep = (middle < low[:, None] - BIN_PCT) | (middle > high[:, None] + BIN_PCT)
        cut = ("counts", "exposure", "rough", "n_rough", "sure_counts", "sure_exposure")
        return replace(self, **{name: np.where(keep, getattr(self, name), 0.0) for name in cut})

    def sure(self) -> Seen:
        """As if sweeps whose drop-outs may be a lead's had shown nothing of drop-outs."""
        return replace(self, counts=self.sure_counts, exposure=self.sure_exposure)


def place_prior(pooled: np.ndarray) -> np.ndarray:
    """Prior of a band's place from the pooled intensity, shape (n, places)."""
    own = np.repeat(np.asarray(pooled, dtype=float), len(CENTRES_PCT) // BINS, axis=1)
    own /= np.maximum(own.sum(axis=1, keepdims=True), 1e-300)
    return ((1.0 - EVEN_SHARE) * own + EVEN_SHARE / own.shape[1]).astype(np.float32)


def in_life_order(X: WearRecords) -> tuple[np.ndarray, np.ndarray]:
    """Row numbers by life and age, and which of them are a life's last."""
    life = pd.factorize(X.tests["life_id"])[0]
    order = np.lexsort((X.tests["sensor_age_km"].to_numpy(), life))
    last = np.append(np.diff(life[order]) != 0, True) if len(order) else np.zeros(0, bool)
    return order, last


def lives_by_parts(X: WearRecords) -> Iterator[np.ndarray]:
    """Row numbers of the tests of some lives at a time, lives in the order in which they come.

    What is known of a life takes several arrays as large as what its tests showed.
    """
    life = pd.factorize(X.tests["life_id"])[0]
    order = np.argsort(life, kind="stable")
    ends = np.searchsorted(life[order], np.arange(0, life.max(initial=-1) + 1, LIVES_AT_ONCE))
    for begin, end in pairwise([*ends.tolist(), len(order)]):
        yield order[begin:end]


def lives_of(X: WearRecords, rows: np.ndarray) -> np.ndarray:
    """Row numbers, in order, of all tests of the lives that some tests are of."""
    life = pd.factorize(X.tests["life_id"])[0]
    there = np.zeros(life.max(initial=-1) + 1, dtype=bool)
    there[life[rows]] = True
    return np.flatnonzero(there[life])


def sights(counts: np.ndarray) -> np.ndarray:
    """Places that drop-outs come from, about: those of one spot show the same place again."""
    square = (counts**2).sum(axis=1)
    return np.where(square > 0, counts.sum(axis=1) ** 2 / np.maximum(square, 1e-12), 1.0)


def strength(
    seen: Seen, begin: np.ndarray, end: np.ndarray, stray_rate: float
) -> tuple[np.ndarray, np.ndarray]:
    """Drop-outs a pass in a stretch beyond strays, and mean roughness there beyond 1."""
    middle = bin_middles()
    near = np.abs(middle - (begin + end)[:, None] / 2) <= (end - begin)[:, None] / 2 + 1.8
    exposure = np.where(near, seen.exposure, 0.0).sum(axis=1) / np.maximum(near.sum(axis=1), 1)
    beyond = np.where(near, seen.counts - stray_rate * seen.exposure, 0.0).sum(axis=1)
    level = np.maximum(beyond, 0.0) / np.maximum(exposure, 1e-6)
    inside = np.abs(middle - (begin + end)[:, None] / 2) <= np.maximum(
        (end - begin)[:, None] / 2, BIN_PCT / 2
    )
    n = np.where(inside, seen.n_rough, 0.0).sum(axis=1)
    log = np.where(inside, seen.rough, 0.0).sum(axis=1)
    rough = np.where(n > 0, np.expm1(log / np.maximum(n, 1e-6)), 0.0)
    return np.where(exposure > 1e-6, level, 0.0), rough


def grain(roughness: np.ndarray) -> float:
    """Variance of a sound bin's log roughness, from the middle half of all bins."""
    known = roughness[np.isfinite(roughness)]
    if known.size < 50:
        return 0.04
    low, high = np.log(np.quantile(known, [0.25, 0.75], overwrite_input=True))
    return float(max(((high - low) / 1.349) ** 2, 1e-3))


def steadiness(roughness: np.ndarray, usual: float) -> np.ndarray:
    """Weight of each session's values: the usual variance over its own, shape (n, 1).

    Its own is from the middle half of its bins, drawn to the usual one as if by so many more. A
    slow logger or an unsteady hand makes all bins of a session scatter.
    """
    known = np.isfinite(roughness)
    count = known.sum(axis=1)
    own = np.full(len(roughness), usual)
    judged = np.flatnonzero(count)
    if judged.size:
        ordered = np.sort(roughness[judged], axis=1)  # blanks come last
        low, high = (np.log(_point(ordered, count[judged], share)) for share in (0.25, 0.75))
        own[judged] = ((high - low) / 1.349) ** 2
    drawn = (count * own + BINS_TRUSTED * usual) / (count + BINS_TRUSTED)
    return (usual / drawn)[:, None]


def _point(ordered: np.ndarray, count: np.ndarray, share: float) -> np.ndarray:
    """Quantile of the first ``count`` values of each ordered row, straight between two of them.

    As ``nanquantile`` has it, which goes through the rows one by one.
    """
    place = share * (count - 1)
    below = np.floor(place).astype(int)
    above = np.minimum(below + 1, count - 1)
    row, part = np.arange(len(ordered)), place - below
    return ordered[row, below] * (1 - part) + ordered[row, above] * part


def own_grain(X: WearRecords, order: np.ndarray) -> float:
    """Correlation of a bin's roughness from test to test of a life; 0.5 where too few pairs."""
    life = pd.factorize(X.tests["life_id"])[0][order]
    pair = np.flatnonzero(life[1:] == life[:-1])

    def sound() -> Iterator[np.ndarray]:
        for first in range(0, len(pair), _PAIRS_AT_ONCE):
            some = pair[first : first + _PAIRS_AT_ONCE]
            both = np.log(np.stack([X.roughness[order[some + k]].ravel() for k in (0, 1)]))
            # beyond, it is wear that comes back
            yield both[:, (np.abs(both) < 0.5).all(axis=0)].astype(float)

    count, total, square = 0, np.zeros(2), np.zeros((2, 2))
    for both in sound():
        count, total = count + both.shape[1], total + both.sum(axis=1)
    if count < 200:
        return 0.5
    for both in sound():
        away = both - (total / count)[:, None]
        square += away @ away.T
    found = square[0, 1] / np.sqrt(square[0, 0] * square[1, 1])
    return float(np.clip(found, 0.0, 0.95))


def remembered(
    values: np.ndarray, life: np.ndarray, order: np.ndarray, memory: float
) -> np.ndarray:
    """Running sum within each life in which what came before fades, in the rows' own order."""
    out = values.copy()
    if memory <= 0.0:
        return out
    place = np.zeros(len(order), dtype=int)
    own = life[order]
    starts = np.flatnonzero(np.diff(own, prepend=-1))
    place = np.arange(len(order)) - np.repeat(starts, np.diff(np.append(starts, len(order))))
    for turn in range(1, int(place.max(initial=0)) + 1):
        at = np.flatnonzero(place == turn)
        out[order[at]] += memory * out[order[at - 1]]
    return out
