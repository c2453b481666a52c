"""Where to sweep slowest, and how many passes make it 95 % sure that wear there is seen.

A worn place does not lift the wiper on every pass, and a sweep that is too fast or a logger that
is too slow steps over it. The first chance is learnt from repeat passes: once a pass has shown a
spot, how many of the later ones show it too. The second follows from speed, rate and width: the
wiper is off the track for a part of the time that it takes over a patch, at most the whole of it,
and that shows if a sample falls into it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from models.wear.exposure import BIN_PCT, BINS, LENGTH_MS, SLOW_PCT_PER_S, shown_share
from models.wear.schemas import DROPOUT_PLACES, PASS_REACH

SURE = 0.95
PRIOR_SHOWS, PRIOR_HIDES = 3.0, 2.0  # prior of a lift on a crossing: Beta(3, 2), mean 0.6 (assumed)
SLOWEST_PCT_PER_S = 4.0  # the slowest steady hand (assumed, no source)
USUAL_PCT_PER_S = 30.0  # the usual slow pass: no plan asks for a faster one (assumed)
MOST_PASSES = 30  # more than that nobody makes (assumed)
SPOT_REACH_PCT = 1.5  # drop-outs within this of a spot are of that spot
HELD_SHARE = 0.80  # share of the expected wear that the slow stretches hold
_GRID = np.linspace(0.0025, 0.9975, 200)


@dataclass(frozen=True)
class LiftChance:
    """Posterior of the chance that a crossing of a worn spot lifts the wiper.

    chances : grid, weights : their posterior, adding up to 1. n_shown, n_passes : passes that
    showed a known spot again, of those that crossed it.
    """

    chances: np.ndarray
    weights: np.ndarray
    n_shown: int
    n_passes: int

    @property
    def mean(self) -> float:
        """Posterior mean."""
        return float(self.chances @ self.weights)

    def interval(self, level: float = 0.90) -> tuple[float, float]:
        """Central interval."""
        total = np.cumsum(self.weights)
        low, high = np.searchsorted(total, [0.5 - level / 2, 0.5 + level / 2])
        return float(self.chances[low]), float(self.chances[min(high, len(total) - 1)])


@dataclass(frozen=True)
class PassPlan:
    """How to look for wear of a width at a place.

    answer : ``passes`` or ``cannot be reached with this logger``. passes : the least number that
    is 95 % sure, 0 if it cannot be reached. speed_pct_per_s : to sweep at that speed or slower.
    samples_in_width : samples that fall into the width at that speed. chance_per_pass : that one
    pass shows it. reached : how sure that many passes (or the most anyone makes) are.
    """

    answer: str
    passes: int
    speed_pct_per_s: float
    samples_in_width: float
    chance_per_pass: float
    reached: float


def lift_chance(
    dropouts: pd.DataFrame,
    passes: pd.DataFrame,
    prior: tuple[float, float] = (PRIOR_SHOWS, PRIOR_HIDES),
) -> LiftChance:
    """Learn from repeat passes how often a worn spot shows.

    Of each spot only the passes after the first that showed it count: what came before picked the
    spot, and would bias the chance. What the sampling missed is allowed for by each session's
    shown share. Spots of one sweep are taken to be independent.

    Parameters
    ----------
    dropouts : frame of ``DROPOUT_PLACES``
        Leave sessions out whose drop-outs wander.
    passes : frame of ``PASS_REACH``
        All passes of the same sessions.
    prior : pair of float
        Beta prior of the chance.
    """
    dropouts, passes = DROPOUT_PLACES.check(dropouts), PASS_REACH.check(passes)
    shown, hidden, share = _repeats(dropouts, passes)
    log = (prior[0] - 1.0) * np.log(_GRID) + (prior[1] - 1.0) * np.log1p(-_GRID)
    seen = np.minimum(_GRID[:, None] * share, 1.0 - 1e-9)
    log = log + (np.log(seen) * shown + np.log1p(-seen) * hidden).sum(axis=1)
    weights = np.exp(log - log.max())
    total = int(shown.sum() + hidden.sum())
    return LiftChance(_GRID, weights / weights.sum(), int(shown.sum()), total)


def passes_needed(
    lift: LiftChance,
    width_pct: float,
    rate_hz: float,
    speed_pct_per_s: float | None = None,
    sure: float = SURE,
) -> PassPlan:
    """Passes that make it ``sure`` to see wear of a width, at a speed or the best one.

    Parameters
    ----------
    lift : LiftChance
        As learnt by ``lift_chance``.
    width_pct : float
        Width of the worn patch, % of travel.
    rate_hz : float
        Samples a second of the logger.
    speed_pct_per_s : float, optional
        Speed of the passes; if None, the fastest at which every pass leaves a sample in the
        width, but no slower than a hand can go and no faster than usual.
    sure : float
        How sure.
    """
    if not (width_pct > 0 and rate_hz > 0):
        raise ValueError(f"width and rate must be positive, not {width_pct} and {rate_hz}")
    best = min(max(width_pct * rate_hz, SLOWEST_PCT_PER_S), USUAL_PCT_PER_S)
    speed = best if speed_pct_per_s is None else speed_pct_per_s
    samples = width_pct * rate_hz / speed
    share = _share_of_width(width_pct, rate_hz, speed)
    found = sure_after(lift, share, np.arange(1, MOST_PASSES + 1))
    enough = np.flatnonzero(found >= sure)
    chance = lift.mean * share
    if not enough.size:
        answer = "cannot be reached with this logger"
        return PassPlan(answer, 0, speed, samples, chance, float(found[-1]))
    n = int(enough[0]) + 1
    return PassPlan("passes", n, speed, samples, chance, float(found[n - 1]))


def sure_after(lift: LiftChance, share: float, passes: np.ndarray) -> np.ndarray:
    """Chance that at least one of so many passes shows a spot, shape of ``passes``.

    ``share`` : of the lifts in which a sample falls. The chance to lift is averaged over, so that
    passes over one spot are not taken for independent.
    """
    each = lift.chances * share
    return 1.0 - lift.weights @ (1.0 - each[:, None]) ** np.asarray(passes, dtype=float)


def sureness(
    lift: LiftChance, width_pct: float, rate_hz: float, speed_pct_per_s: float, passes: int
) -> float:
    """How sure so many passes were to show wear of a width, 0 to 1; arguments as above."""
    share = _share_of_width(width_pct, rate_hz, speed_pct_per_s)
    return float(sure_after(lift, share, np.array([passes]))[0])


def _share_of_width(width_pct: float, rate_hz: float, speed_pct_per_s: float) -> float:
    """Share of the lifts over a patch in which a sample falls.

    Lifts last up to the time that the patch takes, and are otherwise as short as any.
    """
    longest = 1000.0 * width_pct / SLOW_PCT_PER_S
    lengths = (min(LENGTH_MS[0], longest / 2.0), longest)
    return float(shown_share(1000.0 / rate_hz, speed_pct_per_s, lengths))


def slow_stretches(
    expected: np.ndarray, held: float = HELD_SHARE, most: int = 3
) -> list[tuple[float, float, float]]:
    """Where to sweep slowest: the fewest bins that hold most of the expected wear.

    Parameters
    ----------
    expected : array of shape (BINS,)
        Where the sensor wears, as shares or intensity (``WornBands.own_share``).
    held : float
        Share that the stretches together hold, unless more than ``most`` would be needed.
    most : int
        Most stretches.

    Returns
    -------
    list of (from_pct, to_pct, share), the one with most wear first.
    """
    found = slow_stretches_of(np.asarray(expected, dtype=float)[None, :], held, most)
    return list(found[["from_pct", "to_pct", "share"]].itertuples(index=False, name=None))


def slow_stretches_of(
    expected: np.ndarray, held: float = HELD_SHARE, most: int = 3
) -> pd.DataFrame:
    """The same of many sensors, ``expected`` of shape (n, BINS).

    Returns
    -------
    Frame with columns row, stretch_no (1 holds most), from_pct, to_pct and share.
    """
    share = expected / expected.sum(axis=1, keepdims=True)
    order = np.argsort(share, axis=1)[:, ::-1]
    running = np.cumsum(np.take_along_axis(share, order, axis=1), axis=1)
    enough = (running < held).sum(axis=1)
    taken = np.zeros(share.shape, dtype=bool)
    np.put_along_axis(taken, order, np.arange(BINS) <= enough[:, None], axis=1)
    taken[:, 1:-1] |= taken[:, :-2] & taken[:, 2:]  # one bin between two is swept with them
    change = np.diff(np.pad(taken, ((0, 0), (1, 1))).astype(np.int8), axis=1)
    (row, begin), (_, end) = (np.nonzero(change == way) for way in (1, -1))
    found = pd.DataFrame({"row": row, "from_pct": begin * BIN_PCT, "to_pct": end * BIN_PCT})
    found["share"] = _sums(share, row, begin, end)
    found = found.iloc[np.lexsort((begin, -found["share"], row))]
    found.insert(1, "stretch_no", found.groupby("row").cumcount() + 1)
    return found[found["stretch_no"] <= most].reset_index(drop=True)


def _sums(share: np.ndarray, row: np.ndarray, begin: np.ndarray, end: np.ndarray) -> np.ndarray:
    """Sum of each stretch of its row."""
    out = np.empty(len(row))
    for length in np.unique(end - begin):
        own = np.flatnonzero(end - begin == length)
        out[own] = share[row[own, None], begin[own, None] + np.arange(length)].sum(axis=1)
    return out


def _repeats(
    dropouts: pd.DataFrame, passes: pd.DataFrame
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Of each spot: later passes that showed it, that did not, and the session's shown share."""
    part = shown_share(1000.0 / passes["rate_hz"].to_numpy(), passes["speed_pct_per_s"].to_numpy())
    sweeps = _by_session(passes.assign(part=part), ["pass_no", "from_pct", "to_pct", "part"])
    shown, hidden, share = [], [], []
    for session, own in _by_session(dropouts, ["pass_no", "travel_pct"]).items():
        if session not in sweeps:
            continue
        sweep = sweeps[session]
        for spot in _spots(own[:, 1]):
            after, again = _later(own, sweep, spot)
            shown.append(again)
            hidden.append(after - again)
            share.append(float(sweep[:, 3].mean()))
    return np.array(shown, float), np.array(hidden, float), np.array(share, float)


def _by_session(frame: pd.DataFrame, names: list[str]) -> dict[str, np.ndarray]:
    """Columns of each session's rows, shape (rows, names), sessions by name."""
    number, sessions = pd.factorize(frame["session_id"], sort=True)
    order = np.argsort(number, kind="stable")
    cuts = np.searchsorted(number[order], np.arange(1, len(sessions)))
    values = np.split(frame[names].to_numpy(float)[order], cuts)
    return dict(zip(sessions, values, strict=False))  # of no session there is one part, empty


def _spots(travel_pct: np.ndarray) -> list[float]:
    """Places at which drop-outs stand, from the ordered places: a wider gap begins another."""
    ordered = np.sort(travel_pct)
    cuts = np.flatnonzero(np.diff(ordered) > SPOT_REACH_PCT) + 1
    return [float(np.median(part)) for part in np.split(ordered, cuts) if part.size]


def _later(own: np.ndarray, sweep: np.ndarray, spot: float) -> tuple[int, int]:
    """Passes that crossed a spot after the first to show it, and how many showed it again."""
    showed = set(own[np.abs(own[:, 1] - spot) <= SPOT_REACH_PCT, 0].tolist())
    low, high = sweep[:, 1:3].min(axis=1), sweep[:, 1:3].max(axis=1)
    numbers = set(sweep[(low <= spot) & (high >= spot), 0].tolist())
    after = {n for n in numbers if n > min(showed)} if showed else set()
    return len(after), len(after & showed)
