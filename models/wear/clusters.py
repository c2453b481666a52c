"""How far the drop-outs of one sensor stand together: what independent sights there are."""

from __future__ import annotations

import numpy as np

NEIGHBOURHOOD_BINS = 4.0  # 1 sigma of the neighbourhood of a design effect


def summed(values: np.ndarray, number: np.ndarray, groups: int) -> np.ndarray:
    """Sum of the rows of each group, shape (groups, columns); ``number`` says which is whose."""
    out = np.zeros((groups, values.shape[1]))
    np.add.at(out, number, values)
    return out


def count_effect(own: np.ndarray) -> np.ndarray:
    """Drop-outs of one sensor that stand about one drop-out, by bin: shape (bins,).

    The mean number met within a bin on either side, over a neighbourhood, with the whole travel's
    mean as one drop-out more. ``own`` : each sensor's drop-outs, shape (sensors, bins).
    """
    met, number = np.einsum("ij,ij->j", own, own), own.sum(axis=0)
    beside = np.einsum("ij,ij->j", own[:, 1:], own[:, :-1])
    met[1:] += beside
    met[:-1] += beside
    whole = max(1.0, float(met.sum() / max(number.sum(), 1.0)))
    bins = np.arange(own.shape[1])
    near = np.exp(-0.5 * ((bins[:, None] - bins) / NEIGHBOURHOOD_BINS) ** 2)
    return np.maximum(1.0, (near @ met + whole) / (near @ number + 1.0))
