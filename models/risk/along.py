"""Cumulative hazard along lives whose covariates change at their tests."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from models.risk.stretches import Stretches


def cumulative_along(
    common: Callable[[np.ndarray], np.ndarray],
    age_km: np.ndarray,
    shift_km: np.ndarray | float,
    stretches: Stretches,
    log_ratio: np.ndarray,
) -> np.ndarray:
    """Cumulative hazard from age 0 where each stretch of a life multiplies the common hazard.

    Parameters
    ----------
    common : callable
        Cumulative common hazard at ages of any shape, with a leading axis of draws.
    age_km : array of shape (n, k, m)
        Ages at which to answer for each life.
    shift_km : array of shape (m,), or 0
        What the last axis of ages adds to the life's own, by which its stretches are counted.
    stretches : Stretches
        Of n lives.
    log_ratio : array of shape (draws, stretches)
        Log of the factor in each stretch.

    Returns
    -------
    array of shape (draws, n, k, m)
    """
    start, place = _padded(stretches)
    at_start = common(np.maximum(start[:, :, None] + shift_km, 0.0))
    at_start[:, :, 0] = 0.0  # the first stretch of a life goes back to age 0, whatever the shift
    factor = np.exp(log_ratio)[:, place][..., None]
    steps = np.diff(at_start, axis=2) * factor[:, :, :-1]
    before = np.concatenate([np.zeros_like(at_start[:, :, :1]), np.cumsum(steps, axis=2)], axis=2)
    own = _stretch_of(start, age_km - shift_km)
    draws, life = np.arange(len(factor))[:, None, None, None], np.arange(len(start))[:, None, None]
    copy = np.arange(age_km.shape[2])
    at_start = np.broadcast_to(at_start, before.shape)
    since = common(age_km) - at_start[draws, life, own, copy]
    return before[draws, life, own, copy] + since * factor[draws, life, own, 0]


def _padded(stretches: Stretches) -> tuple[np.ndarray, np.ndarray]:
    """Starts of each life's stretches and their places, shape (lives, most stretches of a life).

    Lives with fewer repeat their last stretch, which then has no length.
    """
    count = np.bincount(stretches.life)
    first = np.cumsum(count) - count
    turn = np.minimum(np.arange(count.max(initial=1)), count[:, None] - 1)
    place = first[:, None] + turn
    return np.maximum(stretches.start_km[place], 0.0), place


def _stretch_of(start: np.ndarray, age_km: np.ndarray) -> np.ndarray:
    """Which stretch each age lies in; one on a bound belongs to the stretch below it."""
    below = start[:, None, None, :] < age_km[..., None]
    return np.maximum(below.sum(axis=-1) - 1, 0)
