"""The second track of a housing, laid against the first."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from models.sweeps.analysis import Analysis
from models.sweeps.dropouts import Found, find_dropouts, merge_found
from models.sweeps.noise import noise_sigma
from models.sweeps.screen import Limits

NEAR_SAMPLES = 2  # drop-outs of both tracks within so many samples are one event
READABLE_SHARE = 0.9  # share of the second track that must be readable


@dataclass(frozen=True)
class SecondTrack:
    """Drop-outs of both tracks in order of place, on which track each is, and agreement.

    track : ``a``, ``b`` or ``both`` per drop-out. agreement : correlation per sweep, NaN without.
    """

    found: Found
    track: np.ndarray
    agreement: np.ndarray


def second_track(
    a: Analysis, signal_b: np.ndarray | None, full: np.ndarray, limits: Limits
) -> SecondTrack:
    """Look for drop-outs on the second track and for what the two have in common.

    Parameters
    ----------
    a : Analysis
        Of the first track.
    signal_b : array of shape (n,), or None
        Channel units, NaN where blank.
    full : array of shape (k,)
        100 % of applied in channel units.
    limits : Limits
        When a departure counts as a drop-out.
    """
    agreement = np.full(full.size, np.nan)
    track = np.full(len(a.found), "a", dtype=object)
    if signal_b is None:
        return SecondTrack(a.found, track, agreement)
    found = a.found
    for i in range(full.size):
        part = slice(a.bounds[i], a.bounds[i + 1])
        b = _readable(signal_b[part], full[i])
        if b is None:
            continue
        bounds = np.array([0, b.size])
        own = replace(limits, depth_pct=float(np.broadcast_to(limits.depth_pct, full.shape)[i]))
        other, bridged = find_dropouts(
            a.t_s[part], b, bounds, a.clock.step_s[i : i + 1], noise_sigma(b, bounds), own
        )
        agreement[i] = _correlation(a.bridged[part], bridged)
        found, track = _merged(found, track, other, i, int(a.bounds[i]))
    return SecondTrack(found, track, agreement)


def _readable(signal: np.ndarray, full: float) -> np.ndarray | None:
    known = np.flatnonzero(np.isfinite(signal))
    if known.size < READABLE_SHARE * signal.size or known.size < 2:
        return None
    filled = np.interp(np.arange(signal.size), known, signal[known])
    return np.clip(100.0 * filled / full, -100.0, 300.0).astype(np.float32)


def _correlation(a: np.ndarray, b: np.ndarray) -> float:
    a, b = a - a.mean(dtype=float), b - b.mean(dtype=float)
    norm = float(np.sqrt(np.sum(a * a, dtype=float) * np.sum(b * b, dtype=float)))
    return float(np.sum(a * b, dtype=float) / norm) if norm > 0 else float("nan")


def _merged(found: Found, track: np.ndarray, other: Found, sweep: int, offset: int):
    """Both tracks' drop-outs; one of the second near one of the first is the same event."""
    if not len(other):
        return found, track
    other = other.moved(sweep, offset)
    first, last = other.runs.first - NEAR_SAMPLES, other.runs.last + NEAR_SAMPLES
    meets = (found.runs.first[:, None] <= last) & (found.runs.last[:, None] >= first)
    track = np.where(meets.any(axis=1), "both", track)
    alone = other.pick(~meets.any(axis=0))
    joined = np.concatenate([track, np.full(len(alone), "b", dtype=object)])
    both = merge_found(found, alone)
    order = np.argsort(both.runs.first, kind="stable")
    return both.pick(order), joined[order]
