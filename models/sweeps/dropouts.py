"""Drop-outs in a sweep: short departures that no hand can have made.

Method. A grey closing (opening) over a window longer than a drop-out shows every dip (spike)
that the sweep fills again. Each such candidate is then laid against the signal on both sides and
confirmed when it is

1. deeper than the sensor's own noise, near that place, and the slope per sample allow, and
2. not explicable by the hand: either its edge is steeper, or it is deeper, than a hand of bounded
   acceleration can go and come back in that time, and
3. off both the line that leads up to it and the line that leads away from it, so that a turn of
   the hand is none.

A closing sees a dip on a slope only until the signal has risen as far as the dip is deep, so a
drop-out that is both shallow and long is seen less surely while the hand moves.

Dips longer than the window are found by their two edges (``long_dropouts``). Both signs count:
contact resistance against a pull-down takes a voltage down, against a pull-up takes it up, a
two-wire resistance rises, an open ground lead lifts a voltage to the supply.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from models.sweeps.long_dropouts import long_runs
from models.sweeps.screen import DEFAULT_LIMITS, Limits, Runs, candidates, members

FLANK = 8  # samples to each side that draw the lines
STEEP_SHARE = 0.8  # an edge is one single step of this share of the least depth that counts
GRAIN_PCT = 2.5  # what departs more is no grain of a rough track, % of applied
MEMBER_SHARE = 0.15  # a sample belongs to a drop-out from this share of its depth
TEXTURE_S = 0.003  # noise near a candidate is taken over this lag, so that texture counts as noise


@dataclass(frozen=True)
class Found:
    """Drop-outs of sweeps laid one behind the other, in order of place, shape (m,) each.

    depth : signed departure at its deepest, % of applied, negative where the output fell.
    base : the output that would have stood at its middle, % of applied; base_first and base_last
    at its first and last sample.
    """

    runs: Runs
    depth: np.ndarray
    base_first: np.ndarray
    base_last: np.ndarray

    def __len__(self) -> int:
        return len(self.runs)

    def pick(self, which: np.ndarray) -> Found:
        """Some of the drop-outs, in the order given."""
        return Found(
            self.runs.pick(which), self.depth[which], self.base_first[which], self.base_last[which]
        )

    def moved(self, sweep: int, offset: int) -> Found:
        """The drop-outs of a sweep found alone, placed in the batch it stands in."""
        r = self.runs
        runs = Runs(np.full(len(r), sweep), r.first + offset, r.last + offset, r.sign)
        return Found(runs, self.depth, self.base_first, self.base_last)

    @property
    def base(self) -> np.ndarray:
        """Output that would have stood at the middle, % of applied."""
        return 0.5 * (self.base_first + self.base_last)


def find_dropouts(
    t_s: np.ndarray,
    y: np.ndarray,
    bounds: np.ndarray,
    step_s: np.ndarray,
    sigma: np.ndarray,
    limits: Limits = DEFAULT_LIMITS,
) -> tuple[Found, np.ndarray]:
    """Drop-outs of sweeps laid one behind the other, and the output with them bridged.

    Parameters
    ----------
    t_s, y : arrays of shape (n,)
        Times, s; output, % of applied. Finite, times ascending within a sweep.
    bounds : int array of shape (k + 1,)
        Sweep i is ``bounds[i]:bounds[i + 1]``.
    step_s, sigma : arrays of shape (k,)
        Typical sampling interval, s; noise, % of applied.
    limits : Limits
        When a departure counts as a drop-out.

    Returns
    -------
    found : Found
    bridged : array of shape (n,)
        y with a straight line over each drop-out (y itself where there is none).
    """
    runs, filled = candidates(y, bounds, step_s, sigma, limits)
    found = _none()
    if len(runs):
        found = _confirmed(t_s, y, filled, bounds, step_s, sigma, runs, limits)
    bridged = bridge(t_s, y, found)
    runs = Runs(*long_runs(t_s, bridged, bounds, step_s, sigma, limits.longest_s))
    runs = runs.pick(np.flatnonzero(_really_jumps(y, bridged, runs)))
    if len(runs):
        found = _joined(found, _measured(t_s, y, bridged, bounds, runs))
        bridged = bridge(t_s, y, found)
    return found, bridged


def bridge(t_s: np.ndarray, y: np.ndarray, found: Found) -> np.ndarray:
    """The output with a straight line laid over each drop-out."""
    if not len(found):
        return y
    out = y.copy()
    places, owner = members(found.runs)
    out[places] = _line(t_s, places, found, owner)
    return out


def _confirmed(t_s, y, filled, bounds, step_s, sigma, runs: Runs, limits: Limits) -> Found:
    """Candidates that are deep enough, off both flanks and not the hand's doing; see above."""
    measured, clear = _against_flanks(t_s, y, filled, bounds, runs)
    before, behind = t_s[runs.first - 1], t_s[runs.last + 1]
    slope = np.abs(measured.base_last - measured.base_first) / (behind - before)
    step = step_s[runs.sweep]
    noise = np.maximum(_texture(y, filled, bounds, step_s, runs), sigma[runs.sweep])
    depth_pct = np.broadcast_to(limits.depth_pct, sigma.shape)[runs.sweep]
    least = np.maximum(depth_pct, limits.sigmas * noise) + 0.5 * slope * step
    depth = np.abs(measured.depth)
    by_hand_edge = limits.hand_pct_per_s2 * (step / 2.0) ** 2
    by_hand = limits.tremor_pct_per_s2 * ((behind - before) / 4.0) ** 2
    steep = _steepest(y, runs) - slope * step > STEEP_SHARE * least + by_hand_edge
    steep &= depth > least + by_hand_edge
    keep = (depth > least) & (clear > 0.5 * least) & (steep | (depth > least + by_hand))
    kept = np.flatnonzero(keep)
    return _refined(t_s, y, measured.pick(kept), least[kept])


def _steepest(y, runs: Runs) -> np.ndarray:
    """Greatest step from one sample to the next, into a run or out of it, in its direction."""
    places, owner = members(runs)
    starts = np.searchsorted(owner, np.arange(len(runs)))
    sign = runs.sign[owner]
    into, out = y[places] - y[places - 1], y[places] - y[places + 1]
    return np.maximum.reduceat(np.maximum(sign * into, sign * out), starts)


def _refined(t_s, y, found: Found, least: np.ndarray) -> Found:
    """The samples really off the base; a run with good samples between becomes several."""
    if not len(found):
        return found
    places, owner = members(found.runs)
    sign = found.runs.sign[owner]
    line = _line(t_s, places, found, owner)
    out = sign * (y[places] - line)
    off = np.flatnonzero(out > np.maximum(0.5 * least, MEMBER_SHARE * np.abs(found.depth))[owner])
    places, owner, out, line = places[off], owner[off], out[off], line[off]
    begin = np.flatnonzero(np.diff(places, prepend=-2) > 1)
    end = np.append(begin[1:] - 1, places.size - 1)
    deepest = np.maximum.reduceat(out, begin)
    runs = found.runs.pick(owner[begin])
    runs = Runs(runs.sweep, places[begin], places[end], runs.sign)
    split = Found(runs, runs.sign * deepest, line[begin], line[end])
    return split.pick(np.flatnonzero(deepest > least[owner[begin]]))


def _against_flanks(t_s, y, filled, bounds, runs: Runs) -> tuple[Found, np.ndarray]:
    """Depth against the lines to both sides.

    Returns the runs measured, and for each the greatest departure that is off both lines.
    """
    left = _flank(t_s, filled, bounds, runs, -1)
    right = _flank(t_s, filled, bounds, runs, 1)
    first, last = runs.first, runs.last
    measured = Found(
        runs,
        np.zeros(len(runs)),
        _between(t_s[first], t_s[first - 1], t_s[last + 1], left, right),
        _between(t_s[last], t_s[first - 1], t_s[last + 1], left, right),
    )
    places, owner = members(runs)
    starts = np.searchsorted(owner, np.arange(len(runs)))
    sign = runs.sign[owner]
    out = sign * (y[places] - _line(t_s, places, measured, owner))
    off_left = sign * (y[places] - _carried(t_s, places, left, first - 1, owner))
    off_right = sign * (y[places] - _carried(t_s, places, right, last + 1, owner))
    depth = runs.sign * np.maximum.reduceat(out, starts)
    clear = np.maximum.reduceat(np.minimum(out, np.minimum(off_left, off_right)), starts)
    return Found(runs, depth, measured.base_first, measured.base_last), clear


def _carried(t_s, places, line, anchor, owner) -> np.ndarray:
    """A flank's line carried on to the places."""
    return line[0][owner] + line[1][owner] * (t_s[places] - t_s[anchor][owner])


def _between(t, t_left, t_right, left, right) -> np.ndarray:
    share = (t - t_left) / (t_right - t_left)
    return left[0] + share * (right[0] - left[0])


def _flank(t_s, filled, bounds, runs: Runs, side: int) -> tuple[np.ndarray, np.ndarray]:
    """Line through the samples on one side: its value at the sample next to the run, its slope.

    The line is drawn over about the run's own length, so that it carries as far as it must.
    """
    anchor = runs.first - 1 if side < 0 else runs.last + 1
    stride = np.maximum(1, (runs.last - runs.first + 1) // FLANK)
    at = anchor[:, None] + side * stride[:, None] * np.arange(FLANK)
    inside = (at >= bounds[runs.sweep][:, None]) & (at < bounds[runs.sweep + 1][:, None])
    at = np.where(inside, at, anchor[:, None])
    t, v, w = t_s[at] - t_s[anchor][:, None], filled[at].astype(float), inside.astype(float)
    n = w.sum(axis=1)
    t_mean, v_mean = (w * t).sum(axis=1) / n, (w * v).sum(axis=1) / n
    t_off = t - t_mean[:, None]
    spread = (w * t_off**2).sum(axis=1)
    slope = np.divide(
        (w * t_off * (v - v_mean[:, None])).sum(axis=1),
        spread,
        where=spread > 0,
        out=np.zeros_like(spread),
    )
    return v_mean - slope * t_mean, slope


def _texture(y, filled, bounds, step_s, runs: Runs, count: int = 20) -> np.ndarray:
    """Noise on the louder side of each run, 1 sigma, from second differences over a few ms.

    The upper quartile, 1.1503 sigma for white noise, also sees grain on a part of the side only.
    Taken over TEXTURE_S, so that the grain of a rough track counts as noise at any rate; what
    departs by more than GRAIN_PCT is no grain and is taken as filled.
    """
    lag = np.maximum(1, np.round(TEXTURE_S / step_s[runs.sweep])).astype(int)[:, None]
    apart = np.arange(count) * np.maximum(lag // 2, 1)
    low, high = bounds[runs.sweep][:, None], bounds[runs.sweep + 1][:, None] - 1
    sides = []
    for at, way in ((runs.first[:, None] - 1 - apart, -lag), (runs.last[:, None] + 1 + apart, lag)):
        places = (np.clip(at + n * way, low, high) for n in range(3))
        near, mid, far = (_calm(y[place], filled[place]) for place in places)
        bends = np.abs(near - 2.0 * mid + far)
        sides.append(np.partition(bends, 3 * count // 4, axis=1)[:, 3 * count // 4])
    return np.maximum(*sides) / (1.1503 * np.sqrt(6.0))


def _calm(y: np.ndarray, filled: np.ndarray) -> np.ndarray:
    return np.where(np.abs(filled - y) > GRAIN_PCT, filled, y)


def _really_jumps(y, bridged, runs: Runs) -> np.ndarray:
    """Whether both edges of a long run stand in the recording and not beside a bridge."""
    edges = (runs.first - 1, runs.first, runs.last, runs.last + 1)
    return np.all([y[at] == bridged[at] for at in edges], axis=0).reshape(len(runs))


def _measured(t_s, y, bridged, bounds, runs: Runs) -> Found:
    """Long runs: the base is the line between the samples to both sides."""
    base_first, base_last = bridged[runs.first - 1], bridged[runs.last + 1]
    found = Found(runs, np.zeros(len(runs)), base_first.astype(float), base_last.astype(float))
    places, owner = members(runs)
    out = runs.sign[owner] * (y[places] - _line(t_s, places, found, owner))
    depth = runs.sign * np.maximum.reduceat(out, np.searchsorted(owner, np.arange(len(runs))))
    return Found(runs, depth, found.base_first, found.base_last)


def _line(t_s, places, found: Found, owner) -> np.ndarray:
    first, last = t_s[found.runs.first][owner], t_s[found.runs.last][owner]
    share = np.divide(
        t_s[places] - first, last - first, where=last > first, out=np.zeros(places.size)
    )
    return found.base_first[owner] + share * (found.base_last - found.base_first)[owner]


def _joined(short: Found, long: Found) -> Found:
    """Both together in order of place; a short one inside a long one is part of it."""
    if len(short) and len(long):
        holder = np.searchsorted(long.runs.first, short.runs.first, side="right") - 1
        inside = (holder >= 0) & (short.runs.last <= long.runs.last[np.maximum(holder, 0)])
        short = short.pick(~inside)
    both = merge_found(short, long)
    return both.pick(np.argsort(both.runs.first, kind="stable"))


def merge_found(a: Found, b: Found) -> Found:
    """Drop-outs of both, those of b behind those of a."""
    runs = Runs(
        *(
            np.concatenate([getattr(a.runs, f), getattr(b.runs, f)])
            for f in ("sweep", "first", "last", "sign")
        )
    )
    return Found(
        runs,
        np.concatenate([a.depth, b.depth]),
        np.concatenate([a.base_first, b.base_first]),
        np.concatenate([a.base_last, b.base_last]),
    )


def _none() -> Found:
    whole, real = np.zeros(0, dtype=np.int64), np.zeros(0)
    return Found(Runs(whole, whole, whole, whole), real, real, real)
