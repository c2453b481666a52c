"""General-purpose methods for the same job, each at the best threshold the tuning sweeps give it.

Each takes t (s), y (% of applied), the noise sigma and a depth threshold, and returns the first
and last sample of every departure it reports.
"""

from __future__ import annotations

import itertools

import numpy as np
import pandas as pd
from scipy.signal import find_peaks

from models.sweeps.dropouts import find_dropouts
from models.sweeps.noise import clocks, noise_sigma

THRESHOLDS = (0.5, 0.7, 1.0, 1.4, 2.0, 2.8, 4.0, 5.6, 8.0)
Runs = tuple[np.ndarray, np.ndarray]


def runs_of(flags: np.ndarray) -> Runs:
    """First and last place of each run of true flags."""
    edge = np.diff(np.concatenate([[0], flags.astype(int), [0]]))
    return np.flatnonzero(edge == 1), np.flatnonzero(edge == -1) - 1


def rolling_median(t: np.ndarray, y: np.ndarray, threshold: float) -> Runs:
    """Departure from a centred rolling median over 150 ms (pandas)."""
    window = max(5, int(0.15 / np.median(np.diff(t))) | 1)
    middle = pd.Series(y).rolling(window, center=True, min_periods=1).median().to_numpy()
    return runs_of(np.abs(y - middle) > threshold)


def peak_search(t: np.ndarray, y: np.ndarray, threshold: float) -> Runs:
    """Peaks and valleys up to 60 ms wide of that prominence (scipy)."""
    wide = max(2.0, 0.06 / float(np.median(np.diff(t))))
    firsts, lasts = [], []
    for signed in (y, -y):
        _, about = find_peaks(signed, prominence=threshold, width=(0, wide), rel_height=0.5)
        firsts.append(np.ceil(about["left_ips"]).astype(int))
        lasts.append(np.floor(about["right_ips"]).astype(int))
    return np.concatenate(firsts), np.maximum(np.concatenate(lasts), np.concatenate(firsts))


def change_points(t: np.ndarray, y: np.ndarray, threshold: float) -> Runs:
    """Short segments between change points of the detrended signal (ruptures, kernel search)."""
    import ruptures

    window = max(5, int(0.5 / np.median(np.diff(t))) | 1)
    middle = pd.Series(y).rolling(window, center=True, min_periods=1).median().to_numpy()
    rest = (y - middle).reshape(-1, 1)
    cuts = ruptures.KernelCPD(kernel="linear", min_size=1).fit(rest).predict(pen=threshold**2)
    edges = np.concatenate([[0], cuts])
    mean = np.array([rest[a:b].mean() for a, b in itertools.pairwise(edges)])
    short = (np.diff(edges) <= 0.06 / np.median(np.diff(t))) & (np.abs(mean) > threshold)
    return edges[:-1][short], edges[1:][short] - 1


def this_project(t: np.ndarray, y: np.ndarray, threshold: float) -> Runs:
    """The drop-out search of this project; it needs no threshold."""
    bounds = np.array([0, t.size])
    y = y.astype(np.float32)
    step, sigma = clocks(t, bounds).step_s, noise_sigma(y, bounds)
    found, _ = find_dropouts(t, y, bounds, step, sigma)
    return found.runs.first, found.runs.last
