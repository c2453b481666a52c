"""Output smoothness of windows of 1 % travel, each against its own local line.

The definition (IEC 60393-1 and VRCI-P-100A, from memory) draws a line through the output against
the travel within the window and takes the greatest departure to either side, peak to peak. The
line here is that of least squares, window by window, so it lasts as long as the hand takes.

Where a channel knows the travel, the line is drawn against that, and against time as well; the
lesser departure counts, since neither a coarse channel nor an uneven hand is the track's doing.

Without a channel the line is drawn against time, and lasts no longer than STEADY_S: a window that
takes the hand longer is cut into pieces, and the greatest of theirs counts. What the hand changes
of its speed within that time counts as well and cannot be told apart. Grain of several waves
within STEADY_S comes out by the definition under a hand of any speed; a slower ripple is taken for
the hand, and counts for less the slower it is.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

STEADY_S = 0.06  # without a channel a line follows the hand no longer: tremor of 8 to 12 Hz bends
# it (physiological tremor, from memory)
LEAST_PIECE = 5  # samples that a piece holds at the least, however slow the rate
CHUNK = 40_000  # samples worked on at a time: the scratch arrays stay in the cache
TOGETHER = 30_000  # windows looked through at a time, for the same reason


def off_line(
    y: np.ndarray, first: np.ndarray, count: np.ndarray, against: np.ndarray | None = None
) -> np.ndarray:
    """Peak-to-peak departure from the least-squares line of each window, in the units of y.

    Parameters
    ----------
    y : array of shape (n,)
        Output.
    first, count : int arrays of shape (m,)
        First place of each window in y, and its samples: at least 3.
    against : array of shape (n,), optional
        What the line is drawn against; the places, if not given. Where it does not change within
        a window, the departure is that from the mean.

    Returns
    -------
    array of shape (m,), single precision
    """
    out = np.empty(first.size, dtype=np.float32)
    for chosen, at in _alike(first, count):
        samples = y.take(at)
        if against is None:
            u = np.arange(at.shape[0], dtype=np.float32)[:, None] - 0.5 * (at.shape[0] - 1)
            # not a product of matrices, whose last digit hangs on how many windows there are
            slope = np.einsum("i,ij->j", (u / (u * u).sum())[:, 0], samples)
            samples -= u * slope
        else:
            u = np.empty(at.shape, dtype=np.float32)
            np.subtract(against.take(at), against.take(at[0]), out=u, casting="same_kind")
            u -= u.sum(axis=0) / np.float32(at.shape[0])
            slope = np.einsum("ij,ij->j", u, samples)
            slope /= np.maximum(np.einsum("ij,ij->j", u, u), np.float32(1e-20))
            u *= slope
            samples -= u
        out[chosen] = samples.max(axis=0) - samples.min(axis=0)
    return out


def pieces(
    first: np.ndarray, count: np.ndarray, most: np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Windows cut into even pieces of at most ``most`` samples each, all of shape (m,).

    Returns
    -------
    first, count : int arrays of shape (p,)
        The pieces, window by window.
    begins : int array of shape (m,)
        Where each window's pieces begin among them.
    """
    parts = -(-count // most)
    begins = np.cumsum(parts) - parts
    owner = np.repeat(np.arange(first.size), parts)
    number = np.arange(owner.size) - begins[owner]
    start = number * count[owner] // parts[owner]
    end = (number + 1) * count[owner] // parts[owner]
    return first[owner] + start, end - start, begins


def _alike(first: np.ndarray, count: np.ndarray) -> Iterator[tuple[np.ndarray, np.ndarray]]:
    """Windows of equally many samples: which, and their places, a column each."""
    for start in range(0, first.size, TOGETHER):
        part = count[start : start + TOGETHER]
        for number in np.flatnonzero(np.bincount(part)).tolist():
            rows = start + np.flatnonzero(part == number)
            steps = np.arange(number)[:, None]
            size = max(1, CHUNK // number)
            for begin in range(0, rows.size, size):
                chosen = rows[begin : begin + size]
                if chosen.size == 1:  # one alone would be summed up in another order
                    chosen = np.repeat(chosen, 2)
                yield chosen, first[chosen] + steps
