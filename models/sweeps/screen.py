"""Candidates for drop-outs: what a grey closing fills and an opening cuts.

A dip raises false candidates beside it: an opening takes the good samples between or before two
dips for a peak. They are told by the median round about them, on which they lie.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from models.sweeps.morphology import closing, opening, pad_segments

WINDOW_S = 0.10  # the closing's window: drop-outs up to this length are filled
DEPTH_PCT = 0.55  # least depth that counts, % of applied
OHM_DEPTH_PCT = 20.0  # and in ohms, % of the track: contact resistance stands there in full, where
# against a usual load of 100 kilohm it takes but a twentieth of that share off a voltage
SIGMAS = 6.5  # and in sigma of the noise near it
HAND_PCT_PER_S2 = 2500.0  # a hand's greatest steady acceleration in a sweep, % of travel / s^2
TREMOR_PCT_PER_S2 = 6000.0  # and a trembling hand's, going and coming back
LONGEST_S = 3.0  # a fault that lasts longer is not told from another position
CHUNK = 100_000  # samples worked on at a time: the scratch arrays stay in the cache
SCREEN_SHARE = 0.6  # candidates begin at this share of the least depth that counts ...
SCREEN_SIGMAS = 4.5  # ... and at so many sigma
AROUND = 33  # samples, spread over a window to either side, whose median a candidate must be off


@dataclass(frozen=True)
class Limits:
    """When a departure counts as a drop-out; see the module's constants.

    depth_pct : one for all, or one per sweep.
    """

    window_s: float = WINDOW_S
    depth_pct: float | np.ndarray = DEPTH_PCT
    sigmas: float = SIGMAS
    hand_pct_per_s2: float = HAND_PCT_PER_S2
    tremor_pct_per_s2: float = TREMOR_PCT_PER_S2
    longest_s: float = LONGEST_S


DEFAULT_LIMITS = Limits()


@dataclass(frozen=True)
class Runs:
    """Runs of samples, shape (m,) each: the sweep, first and last place, +1 up or -1 down."""

    sweep: np.ndarray
    first: np.ndarray
    last: np.ndarray
    sign: np.ndarray

    def __len__(self) -> int:
        return self.first.size

    def pick(self, which: np.ndarray) -> Runs:
        """Some of the runs, in the order given."""
        return Runs(self.sweep[which], self.first[which], self.last[which], self.sign[which])


def window_samples(step_s: np.ndarray, limits: Limits = DEFAULT_LIMITS) -> np.ndarray:
    """Closing window of each sweep in samples: odd, from 5 to 1023."""
    wanted = np.clip(limits.window_s / step_s, 5, 1022)
    return 2 * (wanted / 2).astype(int) + 1


def members(runs: Runs) -> tuple[np.ndarray, np.ndarray]:
    """Places of all samples of the runs, and to which run each belongs."""
    sizes = runs.last - runs.first + 1
    owner = np.repeat(np.arange(len(runs)), sizes)
    behind = np.cumsum(sizes) - sizes
    return runs.first[owner] + np.arange(owner.size) - behind[owner], owner


def candidates(
    y: np.ndarray, bounds: np.ndarray, step_s: np.ndarray, sigma: np.ndarray, limits: Limits
) -> tuple[Runs, np.ndarray]:
    """Runs that the closing fills or the opening cuts, and y with them so filled or cut.

    Shapes and units as in ``dropouts.find_dropouts``.
    """
    floor = np.maximum(SCREEN_SHARE * DEPTH_PCT, SCREEN_SIGMAS * sigma).astype(y.dtype)
    windows = window_samples(step_s, limits)
    parts = [
        (_runs_of(places, sign), places, values)
        for chunk in _chunks(bounds, windows)
        for sign, places, values in _screened(y, bounds, chunk, windows[chunk[0]], floor)
    ]
    if not parts:
        nothing = np.zeros(0, dtype=np.int64)
        return Runs(nothing, nothing, nothing, nothing), y
    first, last, sign = (np.concatenate(c) for c in zip(*(p[0] for p in parts), strict=True))
    places, values = (np.concatenate([p[n] for p in parts]) for n in (1, 2))
    sweep = np.searchsorted(bounds, first, side="right") - 1
    runs = Runs(sweep, first, last, sign)
    real = _off_the_median(y, places, values - y[places], bounds, windows, runs)
    filled = y.copy()
    inside = np.repeat(real, last - first + 1)
    filled[places[inside]] = values[inside]
    kept = runs.pick(np.flatnonzero(real))
    return kept.pick(np.argsort(kept.first, kind="stable")), filled


def _off_the_median(y, places, lift: np.ndarray, bounds, windows, runs: Runs) -> np.ndarray:
    """Whether each run's extreme lies off the median round about it by half its lift or more.

    Of two touching runs of opposite sign only the one farther off is real.
    """
    sizes = runs.last - runs.first + 1
    starts = np.cumsum(sizes) - sizes
    height = np.maximum.reduceat(np.abs(lift), starts)
    extreme = places[_first_true(np.abs(lift) == np.repeat(height, sizes), starts)]
    reach = np.linspace(-1.0, 1.0, AROUND)
    at = extreme[:, None] + np.rint(reach * windows[runs.sweep][:, None]).astype(np.int64)
    at = np.clip(at, bounds[runs.sweep][:, None], bounds[runs.sweep + 1][:, None] - 1)
    off = runs.sign * (y[extreme] - np.median(y[at], axis=1))
    real = np.flatnonzero(off > 0.5 * height)
    order = real[np.argsort(runs.first[real], kind="stable")]
    left, right = order[:-1], order[1:]
    touching = runs.first[right] - runs.last[left] <= 2
    touching &= runs.sign[left] != runs.sign[right]
    beaten = np.where(off[left] < off[right], left, right)[touching]
    out = np.zeros(len(runs), dtype=bool)
    out[real] = True
    out[beaten] = False
    return out


def _first_true(flags: np.ndarray, starts: np.ndarray) -> np.ndarray:
    """Index of the first true flag of each group, each group holding one."""
    hits = np.flatnonzero(flags)
    return hits[np.searchsorted(hits, starts)]


def _chunks(bounds: np.ndarray, windows: np.ndarray) -> list[np.ndarray]:
    """Sweeps of one window each, about CHUNK samples together."""
    chunks = []
    for window in np.unique(windows):
        of_window = np.flatnonzero(windows == window)
        behind = np.cumsum(np.diff(bounds)[of_window])
        cuts = np.flatnonzero(np.diff(behind // CHUNK)) + 1
        chunks += np.split(of_window, cuts)
    return chunks


def _screened(y: np.ndarray, bounds: np.ndarray, chunk: np.ndarray, window: int, floor: np.ndarray):
    """Yield (sign, places, filled values) of a chunk of sweeps where anything stands out.

    A sweep's first and last sample never do, so runs of neighbouring sweeps do not touch.
    """
    margin = window - 1
    padded, starts = pad_segments(y, bounds, chunk, margin)
    inner = padded[margin : padded.size - margin]
    for sign, filled in ((-1, closing(padded, window)), (1, opening(padded, window))):
        out = filled - inner if sign < 0 else inner - filled
        begins = starts - margin
        highest = _highest(out, begins, bounds[chunk + 1] - bounds[chunk])
        hits = []
        for number in np.flatnonzero(highest > floor[chunk]):
            sweep, start = chunk[number], begins[number]
            part = out[start : start + bounds[sweep + 1] - bounds[sweep]]
            hits.append((np.flatnonzero(part > floor[sweep]), bounds[sweep], start))
        if hits:
            places = np.concatenate([at + begin for at, begin, _ in hits])
            yield sign, places, filled[np.concatenate([at + start for at, _, start in hits])]


def _highest(values: np.ndarray, begins: np.ndarray, sizes: np.ndarray) -> np.ndarray:
    """Greatest value of each stretch; the stretches ascend."""
    edges = np.stack([begins, begins + sizes], axis=1).ravel()
    if edges[-1] == values.size:
        edges = edges[:-1]
    return np.maximum.reduceat(values, edges)[::2]


def _runs_of(places: np.ndarray, sign: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    cuts = np.flatnonzero(np.diff(places) > 1)
    first = places[np.append(0, cuts + 1)]
    return first, places[np.append(cuts, places.size - 1)], np.full(first.size, sign)
