"""How long a rider holds each throttle position, and how far the wiper slides there.

From a log of the throttle (per cent against time, any rate), the time spent and the travel moved
in each 2 % bin, with straight lines between samples that follow one another closely. Whether wear
follows the one or the other is estimated from bikes that have both a log and tests.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.optimize import minimize_scalar

from models.wear.exposure import BIN_PCT, BINS
from models.wear.records import WearRecords
from models.wear.schemas import RIDES

GAP_TIMES = 5.0  # an interval so many times the usual one is a gap: nothing is known in it
FEWEST_BIKES = 6  # bikes with a log and drop-outs, below which nothing is decided
BLUR_BINS = 0.8  # 1 sigma by which a worn place shows beyond where it was worn, bins
_EDGES = np.arange(BINS + 1) * BIN_PCT


@dataclass(frozen=True)
class Usage:
    """How one throttle was used.

    dwell, sliding : shares of the time and of the travel moved in each bin, shape (BINS,), each
    adding up to 1 (all 0 where nothing is known). logged_s : time that counts. gap_s : time left
    out. moved_pct : travel moved, % of travel. rate_hz : usual samples a second.
    """

    dwell: np.ndarray
    sliding: np.ndarray
    logged_s: float
    gap_s: float
    moved_pct: float
    rate_hz: float


def throttle_usage(t_s: np.ndarray, travel_pct: np.ndarray) -> Usage:
    """Dwell and sliding histograms of one log.

    Parameters
    ----------
    t_s : array of shape (n,)
        Times, s; in any order, repeated times keep the first.
    travel_pct : array of shape (n,)
        Throttle position, % of travel; held within 0 to 100. NaN is not known and makes a gap.

    Notes
    -----
    A slow log misses what the hand does between two samples: dwell hardly suffers, sliding comes
    out too short. A coarse step of the log makes it too long where the throttle is held still.
    """
    t, at = _ordered(t_s, travel_pct)
    step = np.diff(t)
    if not step.size:
        none = np.zeros(BINS)
        return Usage(none, none.copy(), 0.0, 0.0, 0.0, float("nan"))
    usual = float(np.median(step))
    known = np.isfinite(at[1:]) & np.isfinite(at[:-1])
    used = known & (step <= GAP_TIMES * usual)
    dwell, sliding = _spread(at[:-1][used], at[1:][used], step[used])
    return Usage(
        _share(dwell), _share(sliding), float(step[used].sum()), float(step[~used].sum()),
        float(sliding.sum()), 1.0 / usual,
    )  # fmt: skip


def usage_by_bike(rides: pd.DataFrame) -> dict[str, Usage]:
    """Usage of each bike over all its rides; ``rides`` a frame of ``RIDES``."""
    rides = RIDES.check(rides)
    each = rides.groupby(["unit_id", "started_at"], sort=True)
    found: dict[str, list[Usage]] = {}
    for (unit, _), ride in each:
        usage = throttle_usage(ride["t_s"].to_numpy(), ride["travel_pct"].to_numpy())
        found.setdefault(unit, []).append(usage)
    return {unit: _together(own) for unit, own in found.items()}


@dataclass(frozen=True)
class Explained:
    """Which of dwell and sliding explains wear better.

    answer : ``dwell``, ``sliding``, ``cannot be decided`` or ``not enough known``. difference :
    log likelihood of dwell less that of sliding, low and high its 90 % limits over bikes.
    over_even : the same for the better of the two against an even spread. n_bikes, n_dropouts.
    """

    answer: str
    difference: float
    low: float
    high: float
    over_even: float
    n_bikes: int
    n_dropouts: int


def dwell_or_sliding(
    dwell: np.ndarray,
    sliding: np.ndarray,
    counts: np.ndarray,
    exposure: np.ndarray,
    n_draws: int = 999,
    seed: int = 0,
) -> Explained:
    """Compare two explanations of where drop-outs stand.

    Given how many a bike has, each falls into a bin with a chance in proportion to exposure times
    a mix of the histogram, blurred a little, and of an even spread; the mix is fitted for each
    explanation. A bike's drop-outs come from one or two places, so each bike counts as the square
    root of its drop-outs, and the limits come from drawing bikes anew (bootstrap). The better of
    the two must also explain more than an even spread does.

    Parameters
    ----------
    dwell, sliding : arrays of shape (bikes, BINS)
        Shares, as of ``throttle_usage``.
    counts : array of shape (bikes, BINS)
        Drop-outs of the bike's sensor over its tests.
    exposure : array of shape (bikes, BINS)
        Passes that would have shown one.
    n_draws : int
        Draws of bikes.
    seed : int
        Of the draws.
    """
    use = (counts.sum(axis=1) > 0) & (dwell.sum(axis=1) > 0) & (sliding.sum(axis=1) > 0)
    n, many = int(use.sum()), int(counts[use].sum())
    if n < FEWEST_BIKES:
        return Explained("not enough known", np.nan, np.nan, np.nan, np.nan, n, many)
    y, e = counts[use], exposure[use]
    fits = [_fitted(_blurred(h[use]), y, e) for h in (dwell, sliding)]
    even = _heights(np.full(y.shape, 1.0 / BINS), y, e, 0.0)
    apart = fits[0] - fits[1]
    drawn = np.random.default_rng(seed).integers(0, n, (n_draws, n))
    low, high = np.quantile(apart[drawn].sum(axis=1), [0.05, 0.95])
    better = max(fits, key=np.sum)
    explains = np.quantile((better - even)[drawn].sum(axis=1), 0.05) > 0
    answer = "dwell" if low > 0 else "sliding" if high < 0 else "cannot be decided"
    answer = answer if explains else "cannot be decided"
    return Explained(
        answer, float(apart.sum()), float(low), float(high), float((better - even).sum()), n, many
    )


class UseOfLogged:
    """What the tests of bikes with a log showed, counted by and by, against how they are used.

    ``usage`` : of each bike with a log, by unit_id.
    """

    def __init__(self, usage: dict[str, Usage]):
        self._usage, self._units = usage, pd.Index(list(usage), dtype=object)
        self._counts, self._reach = (np.zeros((len(usage), BINS)) for _ in range(2))

    def count(self, records: WearRecords) -> None:
        """Count some tests."""
        number = self._units.get_indexer(records.tests["unit_id"])
        own = np.flatnonzero(number >= 0)
        np.add.at(self._counts, number[own], records.counts[own])
        np.add.at(self._reach, number[own], records.exposure[own])

    def answer(self) -> Explained:
        """Whether dwell or sliding explains their drop-outs better."""
        dwell, sliding = (
            np.array([getattr(own, name) for own in self._usage.values()]).reshape(-1, BINS)
            for name in ("dwell", "sliding")
        )
        return dwell_or_sliding(dwell, sliding, self._counts, self._reach)


def pooled_pattern(pooled: np.ndarray, error: np.ndarray) -> pd.DataFrame:
    """The duty's pattern where no log exists: share of wear in each bin with its spread.

    Parameters
    ----------
    pooled, error : arrays of shape (BINS,)
        Pooled intensity of the duty, and the standard error of its log.

    Returns
    -------
    Frame of bin_from_pct, share, share_low, share_high (90 % limits, bin by bin).
    """
    share = pooled / pooled.sum()
    reach = np.exp(1.645 * error * (1.0 - share))
    return pd.DataFrame(
        {
            "bin_from_pct": _EDGES[:-1],
            "share": share,
            "share_low": share / reach,
            "share_high": np.minimum(share * reach, 1.0),
        }
    )


def _ordered(t_s: np.ndarray, travel_pct: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    t, at = np.asarray(t_s, dtype=float), np.asarray(travel_pct, dtype=float)
    if t.shape != at.shape or t.ndim != 1:
        raise ValueError(f"t_s and travel_pct must be of one length, not {t.shape} and {at.shape}")
    known = np.isfinite(t)
    t, first = np.unique(t[known], return_index=True)
    return t, np.clip(at[known][first], 0.0, 100.0)


def _spread(begin: np.ndarray, end: np.ndarray, step: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Time and travel moved in each bin along straight lines, shape (BINS,) each."""
    low, high = np.minimum(begin, end), np.maximum(begin, end)
    moved = high - low
    still = moved < 1e-9
    bins = np.minimum((low / BIN_PCT).astype(int), BINS - 1)
    dwell = np.bincount(bins[still], step[still], minlength=BINS).astype(float)
    sliding = np.zeros(BINS)
    low, high, moved, step = (v[~still] for v in (low, high, moved, step))
    for first in range(0, len(low), 100_000):
        part = slice(first, first + 100_000)
        below = np.clip(_EDGES - low[part, None], 0.0, moved[part, None])
        inside = np.diff(below, axis=1)
        sliding += inside.sum(axis=0)
        dwell += (inside * (step[part] / moved[part])[:, None]).sum(axis=0)
    return dwell, sliding


def _share(values: np.ndarray) -> np.ndarray:
    total = values.sum()
    return values / total if total > 0 else np.zeros_like(values)


def _together(own: list[Usage]) -> Usage:
    time, moved = (sum(getattr(u, name) for u in own) for name in ("logged_s", "moved_pct"))
    dwell = _share(sum(u.dwell * u.logged_s for u in own))
    sliding = _share(sum(u.sliding * u.moved_pct for u in own))
    rate = float(np.median([u.rate_hz for u in own]))
    return Usage(dwell, sliding, time, sum(u.gap_s for u in own), moved, rate)


def _blurred(share: np.ndarray) -> np.ndarray:
    bins = np.arange(BINS)
    near = np.exp(-0.5 * ((bins[:, None] - bins) / BLUR_BINS) ** 2)
    return share @ (near / near.sum(axis=1, keepdims=True))


def _heights(
    share: np.ndarray, counts: np.ndarray, exposure: np.ndarray, even: float
) -> np.ndarray:
    """Log likelihood of each bike's drop-outs given their number, shape (bikes,)."""
    mixed = exposure * ((1.0 - even) * share + even / BINS)
    chance = mixed / np.maximum(mixed.sum(axis=1, keepdims=True), 1e-300)
    each = np.where(counts > 0, counts * np.log(np.maximum(chance, 1e-12)), 0.0).sum(axis=1)
    return each / np.sqrt(counts.sum(axis=1))


def _fitted(share: np.ndarray, counts: np.ndarray, exposure: np.ndarray) -> np.ndarray:
    found = minimize_scalar(
        lambda even: -_heights(share, counts, exposure, even).sum(),
        bounds=(1e-3, 1.0), method="bounded",
    )  # fmt: skip
    return _heights(share, counts, exposure, float(found.x))
