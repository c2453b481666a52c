"""Recordings cut off at a rail: the converter's or the input's end, below the sensor's own.

A rest at a stop spreads over the noise, and its extreme value is rare; at a rail it is common and
nothing lies beyond it. That shows where the noise spans a step of the converter. Below one step a
rest at a stop may read one value as well, and only two things tell a rail then:

1. The value is the converter's last code, 2^m - 1 steps from zero (from 7 bits on), or code 0.
2. The upper end never flickers upwards, where the noise makes it certain that a stop would. The
   noise is read at rest at the lower end, from single samples off the value, one upwards and the
   next downwards: pairs, since the hand's tremor moves the level for longer than that. For normal
   noise a level within its step flickers upwards in the share Q(u), downwards in Q(v), where u + v
   is the step over sigma; Q(u) Q(v) is greatest in the step's middle, so the pairs' share gives
   no more noise than there is. At the upper end Q(v) is read and the least Q(u) follows. The lower
   end serves as the measure since noise from the supply grows with the output; the other way round
   a quiet closed stop would be called a rail.

Where neither holds (a step of several times the noise, cut off by the input before the last code)
a rail cannot be told from a stop, and nothing in the readings would tell it: both stand at one
value. ``step_pct`` is there so that this can be said.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.stats import norm

from models.sweeps.noise import SUBSAMPLE, strided

RAIL_SHARE = 0.055  # a rail holds this share of the samples at one value; a rest at a stop does not
HIDDEN_STEPS = 3.0  # noise of fewer steps may not show beside a rail
NEAR_SHARE = 0.3  # and this share of the samples within 4 sigma: where noise comes in behind the
# rail, half of them are cut off
LEAST_BITS = 7  # of the last code; an 8-bit converter of both signs has 7
LEAST_PAIRS = 5  # flickers both ways, one after the other, that the noise is read from
LEAST_FLICKERS = 20.0  # expected at a stop before their absence tells a rail ...
FLICKERS_LEFT = 0.1  # ... and this share of them may be there all the same, from the way in and out
_FOURTH = 0.6745 * np.sqrt(70.0)  # fourth differences: 1, -4, 6, -4, 1


@dataclass(frozen=True)
class Rails:
    """Of each sweep, % of applied, shape (k,): the rail it stands at, NaN without, and its step."""

    level_pct: np.ndarray
    step_pct: np.ndarray


def find_rails(y: np.ndarray, bridged: np.ndarray, bounds: np.ndarray, sigma: np.ndarray) -> Rails:
    """The rail that each sweep is cut off at, if any.

    Parameters
    ----------
    y, bridged : arrays of shape (n,)
        Output, % of applied, and the same with drop-outs bridged: those stand at no rail.
    bounds : int array of shape (k + 1,)
        Sweep i is ``bounds[i]:bounds[i + 1]``.
    sigma : array of shape (k,)
        Noise, % of applied.
    """
    seen = np.sort(y[strided(bounds)], axis=1)
    steps = np.diff(seen, axis=1)
    step = np.where(steps > 1e-4, steps, np.inf).min(axis=1)
    level = np.full(sigma.size, np.nan)
    long_enough = np.isfinite(step) & (np.diff(bounds) >= 2 * SUBSAMPLE)
    for edge, top in ((seen[:, 0], False), (seen[:, -1], True)):
        away = np.abs(seen - edge[:, None])
        equal = (away < 0.25 * np.minimum(step, 1e9)[:, None]).sum(axis=1)
        for i in np.flatnonzero(long_enough & (equal >= RAIL_SHARE * SUBSAMPLE)):
            own = slice(bounds[i], bounds[i + 1])
            part = y[own][y[own] == bridged[own]]
            if _stands_at(part, float(edge[i]), float(step[i]), float(sigma[i]), top):
                level[i] = edge[i]
    return Rails(level, step)


def _stands_at(part: np.ndarray, edge: float, step: float, sigma: float, top: bool) -> bool:
    """Whether one sweep, drop-outs left out, is cut off at its outermost value."""
    inwards = (edge - part) if top else (part - edge)
    equal = int((inwards < 0.25 * step).sum())
    if equal < RAIL_SHARE * part.size or inwards.min() < -0.25 * step:
        return False
    near = int((inwards < 4.0 * sigma).sum())
    if sigma > step and equal >= NEAR_SHARE * near and _noise_of_samples(part) > step:
        return True
    return sigma < HIDDEN_STEPS * step and _hidden(part, step, top)


def _noise_of_samples(part: np.ndarray) -> float:
    """Noise by fourth differences, 1 sigma: what the hand changes over five samples is none."""
    at = strided(np.array([0, part.size]), span=5)[0]
    bend = part[at] + part[at + 4] - 4.0 * (part[at + 1] + part[at + 3]) + 6.0 * part[at + 2]
    return float(np.median(np.abs(bend)) / _FOURTH)


def _hidden(part: np.ndarray, step: float, top: bool) -> bool:
    """Whether a sweep stands at a rail though its noise is below one step."""
    low = float(part.min())
    away = np.unique(part).astype(float) - low
    step = _refined(away, step)
    code = (low + (away[-1] if top else 0.0)) / step
    if abs(code - round(code)) < 0.1 and _is_last_code(round(code), top):
        return True
    return top and _never_flickers(np.rint((part.astype(float) - low) / step).astype(np.int64))


def _is_last_code(code: int, top: bool) -> bool:
    """2^m - 1 at the top, 0 at the bottom."""
    if not top:
        return code == 0
    return code + 1 >= 2**LEAST_BITS and (code + 1) & code == 0


def _refined(away: np.ndarray, step: float) -> float:
    """The step made exact over ever longer ways, since single precision blurs a short one."""
    for reach in 4.0 ** np.arange(1, 9):
        longest = away[np.searchsorted(away, reach * step, side="right") - 1]
        step = longest / max(round(longest / step), 1) if longest > 0 else step
    return step


def _never_flickers(codes: np.ndarray) -> bool:
    """Whether rest at the highest code lacks the upward flicker that the noise foretells."""
    common = int(np.bincount(codes[codes <= np.median(codes)]).argmax())
    share = _paired_share(codes, common)
    rest, up, down = _flickers(codes, int(codes.max()))
    if not share > 0 or not rest:
        return False
    half = norm.isf(share)  # of the step, in sigma, at the least
    above = max(2.0 * half - norm.isf(down / rest), half)
    expected = rest * norm.sf(above)
    return expected >= LEAST_FLICKERS and up <= FLICKERS_LEFT * expected


def _flickers(codes: np.ndarray, code: int) -> tuple[int, int, int]:
    """Samples between two of a code, and those of them that lie above it and below it."""
    middle = codes[1:-1][(codes[:-2] == code) & (codes[2:] == code)]
    return middle.size, int((middle > code).sum()), int((middle < code).sum())


def _paired_share(codes: np.ndarray, code: int) -> float:
    """Root of the share of flickers one way that the other way follows, out of all that might.

    0 with fewer than LEAST_PAIRS.
    """
    steady = (codes[:-4] == code) & (codes[2:-2] == code) & (codes[4:] == code)
    first, second = np.sign(codes[1:-3][steady] - code), np.sign(codes[3:-1][steady] - code)
    pairs = int((first * second < 0).sum())
    return float(np.sqrt(0.5 * pairs / first.size)) if pairs >= LEAST_PAIRS else 0.0
