"""Shape of the output over the travel, in the terms of the potentiometer standards.

Output smoothness, independent and terminal-based linearity are those of IEC 60393-1 and of the
Variable Resistive Components Institute's VRCI-P-100A (from memory): each as a share of the
applied voltage. A sweep on the bike shows the travel between the stops, not the track's whole
electrical travel, and every figure here is over that.
"""

from __future__ import annotations

import numpy as np


def independent_linearity(x: np.ndarray, y: np.ndarray) -> tuple[float, float, float]:
    """Straight line with the least greatest departure (minimax), by exchange.

    Parameters
    ----------
    x, y : arrays of shape (n,), n >= 3
        Travel and output, in any order.

    Returns
    -------
    departure, slope, offset : the line's greatest departure from y (half the band's width, in
        the units of y), and the line ``offset + slope * x``.

    Notes
    -----
    One-point exchange on a reference of three points: de la Vallee Poussin's alternation,
    as in Cheney, Introduction to Approximation Theory (1966), chapter 2.
    """
    x, y = np.asarray(x, dtype=float), np.asarray(y, dtype=float)
    if x.size < 3 or np.ptp(x) == 0:
        return (0.0, 0.0, float(np.mean(y))) if x.size else (np.nan, np.nan, np.nan)
    order = np.argsort(x, kind="stable")
    x, y = x[order], y[order]
    reference = [0, x.size // 2, x.size - 1]
    departure = slope = offset = 0.0
    for _ in range(200):
        slope, offset, departure = _through_three(x[reference], y[reference])
        error = y - offset - slope * x
        worst = int(np.argmax(np.abs(error)))
        if abs(error[worst]) <= abs(departure) * (1 + 1e-9) + 1e-12:
            break
        reference = _exchanged(reference, worst, np.sign(error), error[worst])
    return abs(departure), slope, offset


def _through_three(x: np.ndarray, y: np.ndarray) -> tuple[float, float, float]:
    """Line whose errors at three points are +e, -e, +e."""
    if x[2] == x[0]:
        return 0.0, 0.5 * (y.max() + y.min()), 0.5 * (y.max() - y.min())
    slope = (y[2] - y[0]) / (x[2] - x[0])
    chord = y[0] + slope * (x[1] - x[0])
    error = 0.5 * (chord - y[1])
    return slope, y[0] - error - slope * x[0], error


def _exchanged(reference: list[int], worst: int, signs: np.ndarray, error: float) -> list[int]:
    """The reference with the worst point in and the signs still alternating."""
    way = np.sign(error)
    if worst < reference[0]:
        return [worst, *reference[1:]] if signs[reference[0]] == way else [worst, *reference[:2]]
    if worst > reference[2]:
        return [*reference[:2], worst] if signs[reference[2]] == way else [*reference[1:], worst]
    k = 0 if worst < reference[1] else 1
    drop = k if signs[reference[k]] == way else k + 1
    return sorted([*(r for n, r in enumerate(reference) if n != drop), worst])


def terminal_linearity(
    x: np.ndarray, y: np.ndarray, ends_x: tuple[float, float], ends_y: tuple[float, float]
) -> float:
    """Greatest departure from the straight line through the two ends, in the units of y."""
    slope = (ends_y[1] - ends_y[0]) / (ends_x[1] - ends_x[0])
    return float(np.max(np.abs(y - ends_y[0] - slope * (x - ends_x[0]))))


def hysteresis(
    x_opening: np.ndarray, y_opening: np.ndarray, x_closing: np.ndarray, y_closing: np.ndarray
) -> float:
    """Median difference, opening less closing, at the same travel, in the units of y."""
    low = max(x_opening.min(), x_closing.min())
    high = min(x_opening.max(), x_closing.max())
    if not high > low:
        return float("nan")
    at = np.linspace(low, high, 101)[3:-3]
    return float(
        np.median(
            _sorted_interp(at, x_opening, y_opening) - _sorted_interp(at, x_closing, y_closing)
        )
    )


def _sorted_interp(at: np.ndarray, x: np.ndarray, y: np.ndarray) -> np.ndarray:
    order = np.argsort(x, kind="stable")
    return np.interp(at, x[order], y[order])
