"""Output smoothness of hand sweeps: every 1 % of travel, every pass, in one go.

Without a channel that knows the position, travel within so short a window is taken to follow
the time as a parabola (a hand changes its speed steadily over some 50 ms), so the local line of
the output against travel is a parabola against time. It is drawn by two running means whose
weights cancel the square term.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from models.sweeps.noise import Clock
from models.sweeps.passes import Coarse, Strokes

WINDOWS = 100  # of 1 % of travel
LEAST_SAMPLES = 4  # a window with fewer says nothing about smoothness
LINE_S = 0.03  # length of the shorter running mean; the longer is twice as long
LINE_SAMPLES = (5, 11)  # and at least so many samples: at most the second where that is longer
ENDS = 2  # windows left out at either end of a pass, where the hand starts and stops


@dataclass(frozen=True)
class Windows:
    """One row a pass and 1 % window of travel that holds samples, shape (w,) each.

    stroke : index of the pass. sweep : of the sweep. bin : window, 0 to 99. first, last : places.
    height : peak-to-peak departure, % of applied; NaN where too few samples or at a pass's ends.
    power : sum of squared departures over ``height``'s samples, 0 where that is NaN.
    """

    stroke: np.ndarray
    sweep: np.ndarray
    bin: np.ndarray
    first: np.ndarray
    last: np.ndarray
    height: np.ndarray
    power: np.ndarray

    @property
    def count(self) -> np.ndarray:
        """Samples in the window."""
        return self.last - self.first + 1


def cut_windows(
    coarse: Coarse,
    travel_pct: np.ndarray,
    strokes: Strokes,
    y: np.ndarray,
    bounds: np.ndarray,
    clock: Clock,
    t_s: np.ndarray,
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
    """
    stroke, bins, first, last = _edges(coarse, travel_pct, strokes)
    if stroke.size == 0:
        nothing = np.zeros(0)
        return Windows(stroke, stroke, bins, first, last, nothing, nothing)
    sweep = strokes.sweep[stroke]
    lengths = line_samples(clock.step_s)
    rest = off_local_line(y, bounds, lengths)
    reach = lengths[sweep]
    usable = (first >= bounds[sweep] + reach) & (last < bounds[sweep + 1] - reach)
    usable &= _without_gap(first - reach, last + reach, t_s, bounds, clock)
    usable &= (last - first + 1 >= LEAST_SAMPLES) & _inside_stroke(stroke, bins, len(strokes))
    height, power = _heights(rest, first, last)
    return Windows(
        stroke,
        sweep,
        bins,
        first,
        last,
        np.where(usable, height, np.nan),
        np.where(usable, power, 0.0),
    )


def line_samples(step_s: np.ndarray) -> np.ndarray:
    """Samples of the shorter running mean, odd."""
    wanted = np.maximum(LINE_S / step_s, np.minimum(0.055 / step_s, LINE_SAMPLES[1]))
    return 2 * (np.clip(wanted, LINE_SAMPLES[0], 501) / 2).astype(int) + 1


def off_local_line(y: np.ndarray, bounds: np.ndarray, lengths: np.ndarray) -> np.ndarray:
    """Departure of each sample from the local parabola; meaningless near a sweep's ends.

    A centred mean of m even samples of a parabola is off by its second derivative times
    (m^2 - 1) / 24; two means of different length are weighted so that this cancels.
    """
    total = np.concatenate([[0.0], np.cumsum(y, dtype=np.float64)])
    out = np.empty(y.size, dtype=np.float32)
    cuts = np.flatnonzero(np.diff(lengths)) + 1
    for group in np.split(np.arange(lengths.size), cuts):
        begin, end = int(bounds[group[0]]), int(bounds[group[-1] + 1])
        short = int(lengths[group[0]])
        long = 2 * short + 1
        share = (long**2 - 1) / (long**2 - short**2)
        part = total[begin : end + 1]
        out[begin:end] = y[begin:end]
        out[begin:end] -= share * _running_mean(part, short)
        out[begin:end] -= (1.0 - share) * _running_mean(part, long)
    return out


def _running_mean(total: np.ndarray, length: int) -> np.ndarray:
    """Centred mean from a running total of n + 1 entries; 0 where it does not fit in."""
    n = total.size - 1
    out = np.zeros(n)
    if n >= length:
        half = length // 2
        np.subtract(total[length:], total[:-length], out=out[half : n - half])
        out *= 1.0 / length
    return out


def _without_gap(low, high, t_s: np.ndarray, bounds: np.ndarray, clock: Clock) -> np.ndarray:
    """Whether no interval between the places is much longer than usual."""
    gaps = [
        bounds[i] + np.flatnonzero(np.diff(t_s[bounds[i] : bounds[i + 1]]) > 1.5 * clock.step_s[i])
        for i in np.flatnonzero(clock.widest_s > 1.5 * clock.step_s)
    ]
    if not gaps:
        return np.ones(low.size, dtype=bool)
    gaps = np.concatenate(gaps)
    return np.searchsorted(gaps, low) == np.searchsorted(gaps, high)


def _inside_stroke(stroke: np.ndarray, bins: np.ndarray, strokes: int) -> np.ndarray:
    """Whether a window is not among the outermost of its pass."""
    low, high = np.full(strokes, WINDOWS), np.full(strokes, -1)
    np.minimum.at(low, stroke, bins)
    np.maximum.at(high, stroke, bins)
    return (bins >= low[stroke] + ENDS) & (bins <= high[stroke] - ENDS)


def _edges(coarse: Coarse, travel_pct: np.ndarray, strokes: Strokes):
    """Pass, window, first and last place of every window that a pass crosses whole."""
    opens = travel_pct[strokes.last] > travel_pct[strokes.first]
    usable = np.flatnonzero(np.isfinite(travel_pct[strokes.first] + travel_pct[strokes.last]))
    sizes = (strokes.last - strokes.first + 1)[usable]
    if usable.size == 0:
        empty = np.zeros(0, dtype=np.int64)
        return empty, empty, empty, empty
    owner = np.repeat(np.arange(usable.size), sizes)
    at = strokes.first[usable][owner] + np.arange(owner.size) - (np.cumsum(sizes) - sizes)[owner]
    ahead = np.where(opens[usable][owner], travel_pct[at], 100.0 - travel_pct[at])
    key = np.maximum.accumulate(1000.0 * owner + np.nan_to_num(ahead))
    grid = np.linspace(0.0, 100.0, WINDOWS + 1)
    wanted = (1000.0 * np.arange(usable.size)[:, None] + grid).ravel()
    crossed = np.ceil(np.interp(wanted, key, coarse.place[at])).astype(np.int64)
    crossed = crossed.reshape(usable.size, WINDOWS + 1)
    starts = np.searchsorted(key, 1000.0 * np.arange(usable.size))
    low, high = key[starts] % 1000.0, key[starts + sizes - 1] % 1000.0
    whole = (grid[:-1] >= low[:, None] - 0.3) & (grid[1:] <= high[:, None] + 0.3)
    pick, step = np.nonzero(whole & (crossed[:, 1:] > crossed[:, :-1]))
    stroke = usable[pick]
    bins = np.where(opens[stroke], step, WINDOWS - 1 - step)
    return stroke, bins, crossed[pick, step], crossed[pick, step + 1] - 1


def _heights(rest: np.ndarray, first: np.ndarray, last: np.ndarray):
    """Peak to peak and sum of squares of each run of samples."""
    edges = np.minimum(np.stack([first, last + 1], axis=1).ravel(), rest.size - 1)
    height = np.maximum.reduceat(rest, edges)[::2] - np.minimum.reduceat(rest, edges)[::2]
    return height, np.add.reduceat(rest * rest, edges)[::2]
