"""Draws of a group's curve, laid about its estimate."""

from __future__ import annotations

import numpy as np

_LEAST = 1e-300


def about_estimate(survival: np.ndarray) -> np.ndarray:
    """The same curves, those drawn moved so that their middle is the estimate.

    A mean over groups whose effects are drawn is greater than that over their estimates (a mean of
    exponentials), so that draws lie higher in hazard than the estimate; what counts is how far they
    spread. Their cumulative hazard is therefore taken relative to its median at each age.

    Parameters
    ----------
    survival : array of shape (1 + draws, ages)
        The estimate first. Where nothing is drawn, it is returned as it is.

    Returns
    -------
    array of shape (1 + draws, ages), each curve not rising where the ones given did not
    """
    if len(survival) < 2:
        return survival
    hazard = -np.log(np.clip(survival, _LEAST, 1.0))
    middle = np.median(hazard[1:], axis=0)
    moved = hazard[1:] * (hazard[0] / np.where(middle > 0, middle, 1.0))
    return np.exp(-np.vstack([hazard[:1], np.maximum.accumulate(moved, axis=1)]))
