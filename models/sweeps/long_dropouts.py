"""Drop-outs longer than any closing window: a jump away and, later, a jump back."""

from __future__ import annotations

import numpy as np

JUMP_PCT = 4.0  # least jump between neighbours, % of applied
HAND_SPEED_PCT_PER_S = 150.0  # and what a hand in a slow sweep may move meanwhile
NOISE_JUMP = 12.0  # and in sigma of the noise
OFF = 0.3  # between, the samples keep off the line by this share of the jump away
CHUNK = 50_000  # samples worked on at a time: the scratch arrays stay in the cache
BACK = 0.4  # the jump back is at least this share of the jump away


def long_runs(
    t_s: np.ndarray,
    y: np.ndarray,
    bounds: np.ndarray,
    step_s: np.ndarray,
    sigma: np.ndarray,
    longest_s: float,
) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Runs between a jump away and the jump back, shape (m,) each.

    Parameters
    ----------
    t_s, y : arrays of shape (n,)
        Times, s; output with the short drop-outs already bridged, % of applied.
    bounds, step_s, sigma : arrays
        As in ``dropouts.find_dropouts``.
    longest_s : float
        A run lasts no longer, s.

    Returns
    -------
    sweep, first, last, sign : int arrays
    """
    jumps = _jumps(y)
    sweep = np.searchsorted(bounds, jumps, side="right") - 1
    gap = t_s[jumps + 1] - t_s[jumps]
    least = JUMP_PCT + HAND_SPEED_PCT_PER_S * gap + NOISE_JUMP * sigma[sweep]
    steps = y[jumps + 1] - y[jumps]
    real = (jumps + 1 < bounds[sweep + 1]) & (np.abs(steps) > least)
    jumps, sweep, steps = jumps[real], sweep[real], steps[real]
    rows, free_from = [], -1
    for k, place in enumerate(jumps):
        if place < free_from:
            continue
        back = _way_back(t_s, y, steps, jumps, sweep, k, longest_s)
        if back is not None:
            rows.append((sweep[k], place + 1, back, int(np.sign(steps[k]))))
            free_from = back + 1
    columns = np.array(rows, dtype=np.int64).reshape(-1, 4).T
    return columns[0], columns[1], columns[2], columns[3]


def _jumps(y: np.ndarray) -> np.ndarray:
    """Places before a step of more than JUMP_PCT, looked for CHUNK samples at a time."""
    found = [np.zeros(0, dtype=np.int64)]
    for begin in range(0, y.size - 1, CHUNK):
        part = y[begin : begin + CHUNK + 1]
        steps = part[1:] - part[:-1]
        if steps.max() > JUMP_PCT or steps.min() < -JUMP_PCT:
            found.append(begin + np.flatnonzero(np.abs(steps) > JUMP_PCT))
    return np.concatenate(found)


def _way_back(t_s, y, steps, jumps, sweep, k: int, longest_s: float) -> int | None:
    """Last place of the run that jump k begins, or None where it does not come back."""
    away = steps[k]
    for number, place in enumerate(jumps[k + 1 :], k + 1):
        late = t_s[place] - t_s[jumps[k] + 1] > longest_s
        if late or sweep[number] != sweep[k]:
            return None
        back = steps[number]
        alike = BACK <= abs(back / away) <= 1.0 / BACK
        if np.sign(back) == -np.sign(away) and alike:
            return int(place) if _stays_away(t_s, y, jumps[k], place + 1, away) else None
    return None


def _stays_away(t_s, y, before: int, behind: int, away: float) -> bool:
    """Whether nearly all samples between keep off the line from before to behind."""
    inside = slice(before + 1, behind)
    share = (t_s[inside] - t_s[before]) / (t_s[behind] - t_s[before])
    line = y[before] + share * (y[behind] - y[before])
    return bool(np.mean((y[inside] - line) * np.sign(away) > OFF * abs(away)) > 0.9)
