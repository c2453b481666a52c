"""What is believed of a worn band after all evidence: whether there is one, where, how wide."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from models.wear.band_grid import CENTRES_PCT, WIDTHS_PCT
from models.wear.by_row import by_row


@dataclass(frozen=True)
class Posterior:
    """log_odds : of a band against none, shape (n,). place : shape (n, places). width : (n, 4)."""

    log_odds: np.ndarray
    place: np.ndarray
    width: np.ndarray


def chance_of(log_odds: np.ndarray) -> np.ndarray:
    """Chance of a band from its log odds."""
    return 1.0 / (1.0 + np.exp(-np.clip(log_odds, -50.0, 50.0)))


def edges(posterior: Posterior) -> tuple[np.ndarray, np.ndarray]:
    """From and to of each row's band: its middle and expected width."""
    peak, width = middle_and_limits(posterior.place)[0], by_row(posterior.width, WIDTHS_PCT)
    return np.clip(peak - width / 2, 0.0, 100.0), np.clip(peak + width / 2, 0.0, 100.0)


def middle_and_limits(place: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Middle of the likeliest stretch, and the 90 % limits of the place."""
    smooth = place.copy()
    for shift in (1, 2):
        smooth[:, shift:] += place[:, :-shift]
        smooth[:, :-shift] += place[:, shift:]
    best = CENTRES_PCT[smooth.argmax(axis=1)]
    near = np.abs(CENTRES_PCT - best[:, None]) <= 4.0
    own = np.where(near, place, 0.0)
    peak = by_row(own, CENTRES_PCT) / np.maximum(own.sum(axis=1), 1e-300)
    below = np.cumsum(place, axis=1)
    low = CENTRES_PCT[(below < 0.05).sum(axis=1).clip(max=99)] - 0.5
    high = CENTRES_PCT[(below < 0.95).sum(axis=1).clip(max=99)] + 0.5
    return peak, np.minimum(low, peak), np.maximum(high, peak)
