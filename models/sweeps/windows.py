"""Output smoothness of hand sweeps: every 1 % of travel, every pass, in one go.

Without a channel that knows the position, travel within so short a window is taken to follow
the time as a parabola (a hand changes its speed steadily over some 40 ms), so the local line of
the output against travel is a parabola against time.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from models.sweeps.passes import Coarse, Strokes

WINDOWS = 100  # of 1 % of travel
LEAST_SAMPLES = 6  # a window with fewer says nothing about smoothness


@dataclass(frozen=True)
class Windows:
    """One row a pass and 1 % window of travel that holds samples, shape (w,) each.

    stroke : index of the pass. sweep : of the sweep. bin : window, 0 to 99. first, last : places.
    height : peak-to-peak departure, % of applied; NaN where too few samples. mean : mean output.
    """

    stroke: np.ndarray
    sweep: np.ndarray
    bin: np.ndarray
    first: np.ndarray
    last: np.ndarray
    height: np.ndarray
    mean: np.ndarray

    @property
    def count(self) -> np.ndarray:
        """Samples in the window."""
        return self.last - self.first + 1


def cut_windows(coarse: Coarse, travel_pct: np.ndarray, strokes: Strokes, y: np.ndarray) -> Windows:
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
    """
    stroke, bins, first, last = _edges(coarse, travel_pct, strokes)
    if stroke.size == 0:
        nothing = np.zeros(0)
        return Windows(stroke, stroke, bins, first, last, nothing, nothing)
    height, mean = _heights(y, first, last)
    return Windows(stroke, strokes.sweep[stroke], bins, first, last, height, mean)


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


def _heights(y: np.ndarray, first: np.ndarray, last: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Peak to peak off the local parabola, and the mean, of each run of samples.

    Orthogonal polynomials on even steps: 1, u and u^2 - (n^2 - 1) / 12 with u from the middle;
    their squared sums are n, n (n^2 - 1) / 12 and n (n^2 - 1)(n^2 - 4) / 180.
    """
    n = last - first + 1
    starts = np.cumsum(n) - n
    places = np.arange(int(n.sum())) + np.repeat(first - starts, n)
    v = y[places].astype(np.float64)
    u = np.arange(v.size) - np.repeat(starts + 0.5 * (n - 1), n)
    m = n.astype(float)
    square = (m**2 - 1.0) / 12.0
    p2 = u * u - np.repeat(square, n)
    mean = np.add.reduceat(v, starts) / m
    with np.errstate(divide="ignore", invalid="ignore"):
        c1 = np.add.reduceat(u * v, starts) / (m * square)
        c2 = np.add.reduceat(p2 * v, starts) / (m * (m**2 - 1.0) * (m**2 - 4.0) / 180.0)
    rest = v - np.repeat(mean, n) - np.repeat(c1, n) * u - np.repeat(c2, n) * p2
    height = np.maximum.reduceat(rest, starts) - np.minimum.reduceat(rest, starts)
    return np.where(n >= LEAST_SAMPLES, height, np.nan), mean
