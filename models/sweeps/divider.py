"""The loaded divider: what contact resistance does to a throttle sensor's output.

A potentiometer fed with Vref, its wiper at the fraction x of the track, contact resistance Rc in
series with the wiper, read by a meter of input resistance RL that pulls to ground:

    V = x Vref RL / (RL + Rc + x (1 - x) R)

by Thevenin (source x Vref behind x(1 - x)R); any circuit theory text.
"""

from __future__ import annotations

import numpy as np


def loaded_fraction(output_share, track_ohm, load_ohm):
    """Fraction of the track below the wiper, from the output as a share of the supply, Rc = 0.

    The positive root of s R x^2 + (RL - s R) x - s RL = 0, which is the formula above.
    """
    share = np.clip(np.asarray(output_share, dtype=float), 1e-9, 1.0)
    linear = load_ohm - share * track_ohm
    root = np.sqrt(linear**2 + 4.0 * share**2 * track_ohm * load_ohm)
    return (root - linear) / (2.0 * share * track_ohm)


def contact_ohm(x, output_v, vref_v, track_ohm, load_ohm):
    """Contact resistance in ohms that explains an output in volts; infinite at 0 V.

    The formula above solved for Rc. Not below zero: a reading above the unloaded one is noise
    or another fault.
    """
    x, output_v = np.asarray(x, dtype=float), np.asarray(output_v, dtype=float)
    with np.errstate(divide="ignore", invalid="ignore"):
        rc = x * vref_v * load_ohm / output_v - load_ohm - x * (1 - x) * track_ohm
    return np.where(output_v > 0, np.maximum(rc, 0.0), np.inf)
