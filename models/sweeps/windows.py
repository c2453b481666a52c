"""Windows of 1 % of travel, every pass, in one go: smoothness, and the power of what is finer.

Smoothness is that of ``models.sweeps.smoothness``, window by window.

The power is that of the departure from a line that follows the hand: within so short a time
travel is taken to follow the time as a parabola (a hand changes its speed steadily over some
50 ms), so the local line of the output against travel is a parabola against time. It is drawn by
two running means whose weights cancel the square term, and lasts some 60 ms whatever the speed (at
low rates 23 samples, but no more than some 115 ms).
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from models.sweeps.noise import Clock
from models.sweeps.passes import Coarse, Strokes
from models.sweeps.smoothness import LEAST_PIECE, STEADY_S, off_line, pieces

WINDOWS = 100  # of 1 % of travel
LEAST_SAMPLES = 4  # a window with fewer says nothing about smoothness
LINE_S = 0.03  # length of the shorter running mean; the longer is twice as long
LINE_SAMPLES = (5, 11)  # and at least so many samples: at most the second where that is longer
CHUNK = 50_000  # samples worked on at a time: the scratch arrays stay in the cache
ENDS = 2  # windows left out at either end of a pass, where the hand starts and stops


@dataclass(frozen=True)
class Windows:
    """1 % windows of travel, a row a pass with travel, a column a window: shape (passes, WINDOWS).

    sweep : of each pass, ascending, shape (passes,). crossed : whether the pass crosses the
    window whole and leaves samples in it. count : samples there, 0 where not crossed. height :
    smoothness, % of applied; NaN where too few samples or at a pass's ends. power : sum of squared
    departures from the parabola over ``height``'s samples, 0 where that is NaN.
    """

    sweep: np.ndarray
    crossed: np.ndarray
    count: np.ndarray
    height: np.ndarray
    power: np.ndarray

    def per_sweep(self, reduce: np.ufunc, values: np.ndarray, sweeps: int) -> np.ndarray:
        """``reduce`` over the passes of each sweep, 0 without any: shape (sweeps, WINDOWS)."""
        out = np.zeros((sweeps, WINDOWS), dtype=values.dtype)
        if self.sweep.size:
            starts = np.flatnonzero(np.diff(self.sweep, prepend=-1))
            out[self.sweep[starts]] = reduce.reduceat(values, starts, axis=0)
        return out

    def greatest(self, sweeps: int) -> np.ndarray:
        """Greatest departure of any pass in each window, NaN without: shape (sweeps, WINDOWS)."""
        height = self.per_sweep(np.fmax, self.height, sweeps)
        height[np.bincount(self.sweep, minlength=sweeps) == 0] = np.nan
        return height


def cut_windows(
    coarse: Coarse,
    travel_pct: np.ndarray,
    strokes: Strokes,
    y: np.ndarray,
    bounds: np.ndarray,
    clock: Clock,
    t_s: np.ndarray,
    position: np.ndarray | None = None,
) -> Windows:
    """Cut the passes into windows of 1 % travel and measure each.

    Parameters
    ----------
    coarse : Coarse
        The sweeps in blocks.
    travel_pct : array over the blocks
        Travel, %; NaN in sweeps without.
    strokes : Strokes
        Passes; those without travel are left out.
    y : array of shape (n,)
        Output with drop-outs bridged, % of applied.
    bounds : array of shape (k + 1,)
        Where each sweep stands.
    clock : Clock
        Sampling of each sweep.
    t_s : array of shape (n,)
        Times, s.
    position : array of shape (n,), optional
        Travel that another channel gives, %; NaN in sweeps without.
    """
    known = np.flatnonzero(np.isfinite(travel_pct[strokes.first] + travel_pct[strokes.last]))
    sweep = strokes.sweep[known]
    if known.size == 0:
        none = np.zeros((0, WINDOWS))
        return Windows(sweep, none.astype(bool), none.astype(int), none, none)
    edges, crossed = _edges(coarse, travel_pct, strokes.first[known], strokes.last[known])
    lengths = line_samples(clock.step_s)
    rest = off_local_line(y, bounds, lengths)
    first, last = np.ascontiguousarray(edges[:, :-1]), edges[:, 1:] - 1
    count = np.where(crossed, last - first + 1, 0)
    usable = _inside_pass(crossed) & (count >= LEAST_SAMPLES)
    reach = lengths[sweep]
    usable &= first >= (bounds[sweep] + reach)[:, None]
    usable &= last < (bounds[sweep + 1] - reach)[:, None]
    usable &= _without_gap(sweep, first, last, lengths, t_s, bounds, clock)
    at = np.flatnonzero(usable)
    cut = _Cut(sweep[at // WINDOWS], first.ravel()[at], count.ravel()[at])
    height = np.full(usable.shape, np.nan, dtype=np.float32)
    height.ravel()[at] = _smoothness(cut, y, lengths, clock, t_s, bounds, position)
    power = np.where(usable, _power(rest, edges), np.float32(0.0))
    tables = (crossed, count, height, power)
    closes = np.flatnonzero(travel_pct[strokes.last[known]] < travel_pct[strokes.first[known]])
    for table in tables:
        table[closes] = table[closes, ::-1]
    return Windows(sweep, *tables)


@dataclass(frozen=True)
class _Cut:
    """Windows in a row: the sweep, first place and samples of each, shape (m,)."""

    sweep: np.ndarray
    first: np.ndarray
    count: np.ndarray


def _smoothness(
    cut: _Cut,
    y: np.ndarray,
    lengths: np.ndarray,
    clock: Clock,
    t_s: np.ndarray,
    bounds: np.ndarray,
    position: np.ndarray | None,
) -> np.ndarray:
    """Smoothness of each window; see ``models.sweeps.smoothness``."""
    known = np.zeros(bounds.size - 1, dtype=bool)
    if position is not None:
        known = np.isfinite(position[bounds[:-1]])
    most = np.maximum(STEADY_S / clock.step_s, LEAST_PIECE).astype(np.int64)
    slow = cut.count > np.where(known, y.size, most)[cut.sweep]
    even = clock.even[cut.sweep]
    out = np.empty(cut.first.size, dtype=np.float32)
    for which, against in ((even & ~slow, None), (~(even | slow), t_s)):
        chosen = np.flatnonzero(which)
        out[chosen] = off_line(y, cut.first[chosen], cut.count[chosen], against)
    if slow.any():
        first, count, begins = pieces(cut.first[slow], cut.count[slow], most[cut.sweep[slow]])
        out[slow] = np.maximum.reduceat(off_line(y, first, count, t_s), begins)
    if known.any():
        course = position - off_local_line(position, bounds, lengths)
        chosen = np.flatnonzero(known[cut.sweep])
        height = off_line(y, cut.first[chosen], cut.count[chosen], course)
        out[chosen] = np.minimum(out[chosen], height)
    return out


def line_samples(step_s: np.ndarray) -> np.ndarray:
    """Samples of the shorter running mean, odd."""
    wanted = np.maximum(LINE_S / step_s, np.minimum(0.055 / step_s, LINE_SAMPLES[1]))
    return 2 * (np.clip(wanted, LINE_SAMPLES[0], 501) / 2).astype(int) + 1


def off_local_line(y: np.ndarray, bounds: np.ndarray, lengths: np.ndarray) -> np.ndarray:
    """Departure of each sample from the local parabola; meaningless near a sweep's ends.

    A centred mean of m even samples of a parabola is off by its second derivative times
    (m^2 - 1) / 24; two means of different length are weighted so that this cancels.
    """
    out = np.zeros(y.size, dtype=np.float32)
    for begin, end, short in _alike(bounds, lengths):
        long = 2 * short + 1
        share = (long**2 - 1) / (long**2 - short**2)
        part = y[max(begin - short, 0) : end + short]
        if part.size < long:
            continue
        sums = running_sum(part, short)
        inner = part[short:-short] - np.float32(share / short) * sums[_half(short) : -_half(short)]
        sums = sums[: -short - 1] + sums[short:-1]
        sums += part[2 * short :]
        sums *= np.float32((1.0 - share) / long)
        inner -= sums
        at = max(begin - short, 0) + short
        out[at : at + inner.size] = inner
    return out


def _half(short: int) -> int:
    return short - short // 2


def _alike(bounds: np.ndarray, lengths: np.ndarray) -> Iterator[tuple[int, int, int]]:
    """Neighbouring sweeps of one length, about CHUNK samples together: begin, end, length."""
    number = bounds[:-1] // CHUNK
    cuts = np.flatnonzero((np.diff(lengths) != 0) | (np.diff(number) != 0)) + 1
    edges = np.concatenate([[0], cuts, [lengths.size]])
    for first, last in itertools.pairwise(edges.tolist()):
        yield int(bounds[first]), int(bounds[last]), int(lengths[first])


def running_sum(a: np.ndarray, length: int) -> np.ndarray:
    """Sum of each full run of ``length`` samples, by doubling the span: n - length + 1 long."""
    n = a.size - length + 1
    out, begin, power, span = None, 0, a, 1
    while True:
        if length & span:
            piece = power[begin : begin + n]
            out = piece if out is None else out + piece
            begin += span
        if 2 * span > length:
            return out
        power = power[:-span] + power[span:]
        span *= 2


def _without_gap(
    sweep: np.ndarray, first, last, reach: np.ndarray, t_s, bounds: np.ndarray, clock: Clock
) -> np.ndarray:
    """Whether no interval in a window, and within reach of it, is much longer than usual.

    ``sweep`` says of each row of windows, ascending, in which sweep it stands.
    """
    whole = np.ones(first.shape, dtype=bool)
    for i in np.flatnonzero(clock.widest_s > 1.5 * clock.step_s):
        own = slice(*np.searchsorted(sweep, [i, i + 1]))
        times = t_s[bounds[i] : bounds[i + 1]]
        gaps = bounds[i] + np.flatnonzero(np.diff(times) > 1.5 * clock.step_s[i])
        before = np.searchsorted(gaps, first[own] - reach[i])
        whole[own] = before == np.searchsorted(gaps, last[own] + reach[i])
    return whole


def _inside_pass(crossed: np.ndarray) -> np.ndarray:
    """Whether a window is not among the outermost that its pass crosses."""
    low, high = crossed.argmax(axis=1), WINDOWS - 1 - crossed[:, ::-1].argmax(axis=1)
    bins = np.arange(WINDOWS)
    return crossed & (bins >= low[:, None] + ENDS) & (bins <= high[:, None] - ENDS)


def _edges(
    coarse: Coarse, travel_pct: np.ndarray, first: np.ndarray, last: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """First place of every window of every pass in order of time, and the last window's end.

    Also whether the pass crosses the window whole: shapes (passes, WINDOWS + 1) and one less.
    """
    closes = travel_pct[last] < travel_pct[first]
    sizes = last - first + 1
    owner = np.repeat(np.arange(first.size), sizes)
    starts = np.cumsum(sizes) - sizes
    at = np.arange(owner.size) + (first - starts)[owner]
    turned, way = 1000.0 * np.arange(first.size), np.where(closes, -1.0, 1.0)
    key = (turned + 100.0 * closes)[owner] + way[owner] * travel_pct[at]
    key = np.maximum.accumulate(key)
    grid = np.linspace(0.0, 100.0, WINDOWS + 1)
    wanted = (turned[:, None] + grid).ravel()
    edges = np.ceil(np.interp(wanted, key, coarse.place[at])).astype(np.int64)
    edges = edges.reshape(first.size, WINDOWS + 1)
    low, high = key[starts] - turned, key[starts + sizes - 1] - turned
    crossed = (grid[:-1] >= low[:, None] - 0.3) & (grid[1:] <= high[:, None] + 0.3)
    crossed &= edges[:, 1:] > edges[:, :-1]
    return edges, crossed


def _power(rest: np.ndarray, edges: np.ndarray) -> np.ndarray:
    """Sum of squares of each window; meaningless where it is empty."""
    at = np.minimum(edges, rest.size - 1).ravel()
    return np.add.reduceat(rest * rest, at).reshape(edges.shape)[:, :-1]
