"""What a potentiometer's wiper shows, loaded and worn: the electrical side of the bench.

Symbols follow the usual loaded-divider derivation (Kirchhoff at the wiper): ``x`` is the fraction
of the track below the wiper, ``R`` the track end to end, ``Rc`` the contact resistance in series
with the wiper, ``RL`` the load from the wiper lead to ground.
"""

from __future__ import annotations

import numpy as np


def loaded_divider_v(
    x: np.ndarray | float,
    *,
    supply_v: np.ndarray | float,
    track_ohm: np.ndarray | float,
    load_ohm: float,
    contact_ohm: np.ndarray | float = 0.0,
) -> np.ndarray:
    """Voltage at the load: V = x Vref RL / (RL + Rc + x (1 - x) R).

    Parameters
    ----------
    x : array of shape (n,) or float
        Fraction of the track below the wiper, 0 to 1.
    supply_v, track_ohm : array of shape (n,) or float
        Reference voltage across the track, V, and the track end to end, ohm.
    load_ohm : float
        Load from the wiper lead to ground, ohm.
    contact_ohm : array of shape (n,) or float
        Contact resistance, ohm.

    Returns
    -------
    Volts, shape (n,).
    """
    x = np.asarray(x, dtype=float)
    source_ohm = x * (1.0 - x) * track_ohm
    return x * supply_v * load_ohm / (load_ohm + np.asarray(contact_ohm) + source_ohm)


def open_ground_v(
    x: np.ndarray | float,
    *,
    supply_v: np.ndarray | float,
    track_ohm: np.ndarray | float,
    load_ohm: float,
    contact_ohm: np.ndarray | float = 0.0,
) -> np.ndarray:
    """Voltage at the load when the track's ground lead is open: the track only pulls up.

    Same symbols, shapes and units as :func:`loaded_divider_v`.
    """
    x = np.asarray(x, dtype=float)
    upper_ohm = (1.0 - x) * track_ohm
    return supply_v * load_ohm / (load_ohm + np.asarray(contact_ohm) + upper_ohm)


def two_wire_ohm(
    x: np.ndarray | float, *, track_ohm: float, contact_ohm: np.ndarray | float, leads_ohm: float
) -> np.ndarray:
    """Ohms a meter reads from wiper to the lower end pin: track, contact and leads in series."""
    return np.asarray(x, dtype=float) * track_ohm + np.asarray(contact_ohm) + leads_ohm
