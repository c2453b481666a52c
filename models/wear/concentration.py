"""Is a fleet's wear spread evenly over the travel, or gathered somewhere?

The drop-outs of one sensor stand together wherever its track happens to be worn, so a heap on the
fleet's map may be one sensor's. The question is whether *different* sensors wear at the same
places. Each sensor's pattern is therefore turned round the travel by a random amount of its own,
as on a ring on which equal lengths had equal exposure: what it shows within itself stays, what it
shares with others goes (a random-shift test; toroidal shifts, Lotwick & Silverman, JRSS B 44
(1982) 406, from memory). The statistic is a scan over stretches of travel of several lengths
(Kulldorff, Commun. Statist. Theory Meth. 26 (1997) 1481, from memory).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from models.wear.clusters import summed
from models.wear.exposure import BIN_PCT, BINS

FEWEST_SENSORS = 8  # with fewer sensors that have drop-outs nothing can be said
LEAST_DROPOUTS = 2  # one alone may be a stray
STRETCHES = (2, 3, 5, 8, 12)  # lengths scanned, in bins
NARROWER = 1.0  # log likelihood that a longer stretch must gain to be told instead (assumed)
FLAT_ERROR = 0.05  # share of flat fleets called concentrated
_POINTS = 200  # places on the ring


@dataclass(frozen=True)
class Concentration:
    """answer : ``concentrated``, ``flat`` or ``not enough known``.

    ``flat`` means no more than that these sensors show no common place. p_value : chance of a
    statistic as great among flat fleets, NaN if not enough is known. from_pct, to_pct : the
    stretch that stands out most. ratio : drop-outs there over an even spread.
    n_sensors : how many count: sensors with drop-outs, or lives with a likely band.
    """

    answer: str
    p_value: float
    from_pct: float
    to_pct: float
    ratio: float
    n_sensors: int


def concentration(
    sensor: np.ndarray,
    counts: np.ndarray,
    exposure: np.ndarray,
    n_shifts: int = 399,
    level: float = FLAT_ERROR,
    seed: int = 0,
    least: float = LEAST_DROPOUTS,
) -> Concentration:
    """Decide between flat and concentrated.

    Parameters
    ----------
    sensor : array of shape (n,)
        Which sensor each test is of.
    counts : array of shape (n, BINS)
        Drop-outs.
    exposure : array of shape (n, BINS)
        Passes that would have shown one.
    n_shifts : int
        Random shifts of the flat hypothesis.
    level : float
        Largest share of flat fleets that may be called concentrated.
    seed : int
        Of the shifts.
    least : float
        Sensors with fewer drop-outs are left out.
    """
    own, reach = _by_sensor(sensor, counts, exposure)
    worn = (own.sum(axis=1) >= least) & (reach.sum(axis=1) > 0)
    own, reach = own[worn], reach[worn]
    if len(own) < FEWEST_SENSORS:
        return Concentration("not enough known", np.nan, np.nan, np.nan, np.nan, len(own))
    rng = np.random.default_rng(seed)
    sensors, places, weight = _events(own, reach, rng)
    whole = _histogram(places, weight)[None, :]
    seen = _scan(whole, ring=True)[0]
    _, at, size, ratio = _scan(whole, ring=False)
    null = np.empty(n_shifts)
    for first in range(0, n_shifts, 50):
        shift = rng.integers(0, _POINTS, (min(50, n_shifts - first), len(own)))
        # one turn after another: there may be millions of places
        turned = ((places + own_shift[sensors]) % _POINTS for own_shift in shift)
        rows = np.stack([_histogram(row, weight) for row in turned])
        null[first : first + len(rows)] = _scan(rows, ring=True)[0]
    p = float((1 + (null >= seen[0]).sum()) / (n_shifts + 1))
    begin, end = _travel(reach, at[0], size[0])
    answer = "concentrated" if p <= level else "flat"
    return Concentration(answer, p, begin, end, float(ratio[0]), len(own))


def _by_sensor(
    sensor: np.ndarray, counts: np.ndarray, exposure: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    names, number = np.unique(np.asarray(sensor), return_inverse=True)
    return summed(counts, number, len(names)), summed(exposure, number, len(names))


def _events(
    own: np.ndarray, reach: np.ndarray, rng: np.random.Generator
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Sensor, place on the ring of equal exposure, and weight of each bin with drop-outs.

    Many drop-outs of a sensor are looks at the same few spots, so each sensor counts once, shared
    out over the bins where its drop-outs stand. Within its bin a place is drawn at random: bins
    line up from sensor to sensor, and that must not look like a common place.
    """
    share = reach / reach.sum(axis=1, keepdims=True)
    below = np.cumsum(share, axis=1) - share
    sensors, bins = np.nonzero(own * (reach > 0))
    at = below[sensors, bins] + rng.random(len(bins)) * share[sensors, bins]
    place = np.minimum((at * _POINTS).astype(int), _POINTS - 1)
    return sensors, place, own[sensors, bins] / own.sum(axis=1)[sensors]


def _histogram(places: np.ndarray, weight: np.ndarray) -> np.ndarray:
    return np.bincount(places, weight, minlength=_POINTS)


def _scan(rows: np.ndarray, ring: bool) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Greatest log likelihood ratio over stretches of each row, where, how long, how dense.

    On the ring a stretch may run over the end, so that a turn never cuts a heap in two.
    """
    total = rows.sum(axis=1, keepdims=True)
    best, told = (np.full(len(rows), -np.inf) for _ in range(2))
    at, size, ratio = np.zeros(len(rows), int), np.zeros(len(rows), int), np.zeros(len(rows))
    longest = max(STRETCHES) * _POINTS // BINS
    rows = np.hstack([rows, rows[:, :longest]]) if ring else rows
    running = np.cumsum(np.pad(rows, ((0, 0), (1, 0))), axis=1)
    for bins in STRETCHES:
        length = bins * _POINTS // BINS
        inside = running[:, length:] - running[:, :-length]
        inside = inside[:, :_POINTS]
        even = length / _POINTS
        share = inside / total
        gain = _entropy(share, even) + _entropy(1.0 - share, 1.0 - even)
        gain = np.where(share > even, total * gain, 0.0)
        place = gain.argmax(axis=1)
        value = gain[np.arange(len(rows)), place]
        best = np.maximum(best, value)
        better = value > told + NARROWER  # of two that stand out as much the narrower is told
        told = np.where(better, value, told)
        at, size = np.where(better, place, at), np.where(better, length, size)
        ratio = np.where(better, share[np.arange(len(rows)), place] / even, ratio)
    return best, at, size, ratio


def _entropy(share: np.ndarray, even: float) -> np.ndarray:
    return share * np.log(np.maximum(share, 1e-12) / even)


def _travel(reach: np.ndarray, at: int, length: int) -> tuple[float, float]:
    """Stretch of the ring as travel, by the fleet's exposure."""
    below = np.concatenate([[0.0], np.cumsum(reach.sum(axis=0) / reach.sum())])
    edges = np.arange(BINS + 1) * BIN_PCT
    ends = np.interp([at / _POINTS, (at + length) / _POINTS], below, edges)
    return float(ends[0]), float(ends[1])
