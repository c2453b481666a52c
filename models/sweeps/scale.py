"""From channel units to per cent of the applied voltage, and doubts about the unit.

The sensor is ratiometric: its output is a share of the supply, so everything is judged in per
cent of what is applied. Readings that look like another unit are asked about, never rescaled.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import numpy as np

ASSUMED_SUPPLY_V = 5.0  # common practice, no source
PLAUSIBLE_SUPPLY_V = (3.0, 16.0)  # from 3.3 V logic to a 12 V system (common practice)
LEAST_TRACK_OHM = 50.0  # tracks have some kilohm (common practice): less is another unit
CLIP_PCT = (-100.0, 300.0)  # readings beyond are held here: deeper than any drop-out's depth


@dataclass(frozen=True)
class Scale:
    """How one sweep is scaled: 100 % in channel units (blank: cannot be measured), and why."""

    full: float
    findings: tuple[tuple[str, str], ...] = ()

    @property
    def known(self) -> bool:
        """Whether the sweep can be measured at all."""
        return bool(np.isfinite(self.full))


def scale_of(
    channel: str | None, low: float, high: float, supply_v: float, track_ohm: float
) -> Scale:
    """Scale of a sweep whose readings lie mostly between ``low`` and ``high`` (channel units).

    Parameters
    ----------
    channel : str or None
        ``volt``, ``ohm``, ``percent``, or None where not given.
    low, high : float
        Robust least and greatest reading, channel units.
    supply_v, track_ohm : float
        As read on the bench; NaN where not.
    """
    if channel == "volt":
        return _volt(low, high, supply_v)
    if channel == "ohm":
        return _ohm(low, high, track_ohm)
    if channel == "percent":
        return _percent(low, high)
    text = "The sweep's channel (volt, ohm or percent) is not given, so it cannot be judged."
    return Scale(np.nan, (("channel_unknown", text),))


def _volt(low: float, high: float, supply_v: float) -> Scale:
    findings = []
    supply = supply_v
    if not np.isfinite(supply):
        text = "No supply voltage was read; 5 V is assumed, so depths are in per cent of 5 V."
        supply, findings = ASSUMED_SUPPLY_V, [("supply_unknown", text)]
    elif not PLAUSIBLE_SUPPLY_V[0] <= supply <= PLAUSIBLE_SUPPLY_V[1]:
        text = (
            f"The supply reads {supply_v:g} V, which no throttle sensor is fed with; 5 V is "
            "assumed for the depths. Please check the reading and its unit."
        )
        supply, findings = ASSUMED_SUPPLY_V, [("supply_implausible", text)]
    if high > 30.0 * supply:
        return _asked(findings, "unit_millivolts", f"{high:g} V", "millivolts", "volts")
    if high > 1.5 * supply:
        text = (
            f"Readings reach {high:g} V with a supply of {supply:g} V: a throttle sensor cannot "
            "put out more than it is fed. Please check the channel and the supply reading."
        )
        return Scale(np.nan, (*findings, ("signal_above_supply", text)))
    return Scale(supply, tuple(findings))


def _ohm(low: float, high: float, track_ohm: float) -> Scale:
    if np.isfinite(track_ohm) and track_ohm > 0:
        if track_ohm < LEAST_TRACK_OHM:
            return _asked([], "unit_kilohms", f"{high:g}", "kilohms", "ohms")
        if high < 0.03 * track_ohm:
            return _asked([], "unit_kilohms", f"{high:g} ohm", "kilohms", "ohms")
        return Scale(track_ohm)
    if 0.0 < high < LEAST_TRACK_OHM:
        return _asked([], "unit_kilohms", f"{high:g} ohm", "kilohms", "ohms")
    if high <= 0.0:
        text = "No reading above 0 ohm: please check the leads and the channel."
        return Scale(np.nan, (("signal_not_positive", text),))
    text = (
        "The track's resistance end to end was not read; depths are in per cent of the highest "
        f"steady resistance, {high:g} ohm."
    )
    return Scale(high, (("track_resistance_unknown", text),))


def _percent(low: float, high: float) -> Scale:
    if high > 150.0:
        text = (
            f"Readings reach {high:g} on the percentage channel: these look like counts or "
            "another unit. Please check."
        )
        return Scale(np.nan, (("unit_not_percent", text),))
    if 0.0 < high <= 1.2 and high - low > 0.2:
        return _asked([], "unit_fraction", f"{high:g} %", "fractions of 1", "per cent")
    return Scale(100.0)


def _asked(findings: list, name: str, reach: str, looks: str, expected: str) -> Scale:
    text = (
        f"Readings reach {reach}: these look like {looks}, where {expected} are expected. Please "
        "check the unit and hand the sweep in again; nothing was rescaled."
    )
    return Scale(np.nan, (*findings, (name, text)))


def in_percent(
    signal: np.ndarray, bounds: np.ndarray, full: np.ndarray, out_type: type = np.float32
) -> np.ndarray:
    """Signal of sweeps laid one behind the other in per cent of applied, held within limits."""
    factor = (100.0 / full).astype(out_type)
    out = np.empty(signal.size, dtype=out_type)
    for i, (begin, end) in enumerate(itertools.pairwise(bounds.tolist())):
        part = out[begin:end]
        np.multiply(signal[begin:end], factor[i], out=part, casting="same_kind")
        np.clip(part, *CLIP_PCT, out=part)
    return out
