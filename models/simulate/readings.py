"""Static readings of a bench test, consistent with the sensor, its plug and the day.

One call fills the readings of all tests at once. All spreads and chances are assumed.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd

from models.simulate.book import SensorRecord, TestRecord
from models.simulate.divider import loaded_divider_v
from models.simulate.track import TrackState, random_track
from models.simulate.world import PARTS, SECOND_TRACK_SHARE, SHOPS

VOLTMETER_OHM = 10e6  # a handheld voltmeter, common practice, no source
SUPPLY_V, SUPPLY_SPREAD_V = 5.0, 0.015
WEAK_SUPPLY, BAD_GROUND = 0.008, 0.012  # chances of a fault in supply or ground
LOW_CODE, HIGH_CODE = ("P0122", "P0222"), ("P0123", "P0223")  # SAE J2012, first and second track
DEFECT_CODES = ("P0120", "P0121", "P0122", "P0124")
SECOND_CODES = ("P0220", "P0221", "P0222", "P0224")
CORRELATION_CODE = "P2135"
UNPLUGGED = 0.06
NOTES = ("plug cleaned first", "cold morning", "rider watched", "second reading taken", None)


def sensor_tracks(rng: np.random.Generator, sensors: list[SensorRecord]) -> list[TrackState]:
    """The electrical make of each sensor while sound, in order of the sensors."""
    return [_track(rng, record.part_no) for record in sensors]


def _track(rng: np.random.Generator, part_no: str) -> TrackState:
    part = PARTS[part_no]
    closed = part.closed_fraction + 0.006 * rng.standard_normal()
    opened = part.open_fraction + 0.008 * rng.standard_normal()
    base = replace(
        random_track(rng, output=part.output),
        closed_fraction=float(closed),
        open_fraction=float(opened),
        track_ohm=float(max(part.track_ohm, 1000.0) * (1.0 + 0.06 * rng.standard_normal())),
    )
    if not part.wears:
        return replace(base, bow=0.0, grain_ohm=0.0, contact_ohm=0.0, hysteresis_pct=0.02)
    if part.tracks == 1:
        return base
    second = replace(
        base,
        closed_fraction=base.closed_fraction * SECOND_TRACK_SHARE,
        open_fraction=base.open_fraction * SECOND_TRACK_SHARE,
        grain_seed=base.grain_seed + 1,
    )
    return replace(base, second=second)


def static_readings(
    rng: np.random.Generator, tests: list[TestRecord], tracks: list[TrackState]
) -> pd.DataFrame:
    """Readings of each test, one row a test in the order given.

    Returns
    -------
    Frame of the contract's reading columns and ``true_supply_v`` (the supply without the
    meter's error).
    """
    n = len(tests)
    of_test = [tracks[test.sensor.number] for test in tests]
    wears = np.array([PARTS[test.sensor.part_no].wears for test in tests], dtype=bool)
    temp_c = _temperature_c(rng, np.array([test.day for test in tests]))
    supply_v, to_ground_v = _supplies(rng, n)
    frame = pd.DataFrame(
        {
            "true_supply_v": supply_v,
            "supply_v": _rounded(supply_v + 0.003 * rng.standard_normal(n), 3),
            "supply_to_ground_v": _rounded(to_ground_v + 0.003 * rng.standard_normal(n), 3),
            "temp_c": _rounded(temp_c, 0),
        }
    )
    warm = 1.0 + 0.0004 * (temp_c - 20.0)
    track_ohm = np.array([track.track_ohm for track in of_test]) * warm
    contact = np.array([track.contact_ohm for track in of_test])
    measured = wears & (rng.random(n) < 0.78)
    frame["track_ohm"] = np.where(measured, _meter(rng, track_ohm, 0.003, 0), np.nan)
    for stop in ("closed", "open"):
        x = np.array([getattr(track, f"{stop}_fraction") for track in of_test])
        ohms = _meter(rng, x * track_ohm + contact, 0.004, 0)
        volts = loaded_divider_v(
            x, supply_v=to_ground_v, track_ohm=track_ohm, load_ohm=VOLTMETER_OHM
        )
        noted = rng.random(n) < 0.85
        frame[f"{stop}_ohm"] = np.where(measured, ohms, np.nan)
        frame[f"{stop}_v"] = np.where(
            noted, _rounded(volts + 0.004 * rng.standard_normal(n), 2), np.nan
        )
    frame["closed_pct"] = _percent(rng, n, 0.0)
    frame["open_pct"] = 100.0 - _percent(rng, n, 0.3)
    return pd.concat([frame, _plug_and_codes(rng, tests)], axis=1)


def _supplies(rng: np.random.Generator, n: int) -> tuple[np.ndarray, np.ndarray]:
    supply = SUPPLY_V + SUPPLY_SPREAD_V * rng.standard_normal(n)
    supply = np.where(rng.random(n) < WEAK_SUPPLY, rng.uniform(4.1, 4.7, n), supply)
    drop = np.abs(0.008 + 0.005 * rng.standard_normal(n))
    drop = np.where(rng.random(n) < BAD_GROUND, rng.uniform(0.12, 0.45, n), drop)
    return supply, supply - drop


def _temperature_c(rng: np.random.Generator, day: np.ndarray) -> np.ndarray:
    season = 15.0 - 8.0 * np.cos(2.0 * np.pi * (day - 15) / 365.25)
    return season + 3.0 * rng.standard_normal(len(day))


def _percent(rng: np.random.Generator, n: int, offset: float) -> np.ndarray:
    shown = np.abs(offset + 0.5 * rng.standard_normal(n))
    return np.where(rng.random(n) < 0.7, _rounded(shown, 1), np.nan)


def _meter(rng: np.random.Generator, value: np.ndarray, spread: float, digits: int) -> np.ndarray:
    return _rounded(value * (1.0 + spread * rng.standard_normal(len(value))), digits)


def _rounded(values: np.ndarray, digits: int) -> np.ndarray:
    return np.round(values, digits) + 0.0  # no minus zero


def _plug_and_codes(rng: np.random.Generator, tests: list[TestRecord]) -> pd.DataFrame:
    rows = [_plug_row(rng, test) for test in tests]
    columns = ["corrosion", "wiggle_test", "fault_codes", "unplugged_key_on", "note"]
    return pd.DataFrame(rows, columns=columns, dtype=object)


def _plug_row(rng: np.random.Generator, test: TestRecord) -> tuple:
    at = rng.random()
    if test.lead is not None:
        corrosion = "heavy" if at < 0.35 else "light" if at < 0.7 else "none"
    else:
        corrosion = "light" if at < 0.07 else "none"
    wiggle = "jumps" if test.lead_found else "steady"
    unplugged = bool(rng.random() < UNPLUGGED)
    return (
        corrosion,
        wiggle if test.lead_found or rng.random() < 0.9 else None,
        " ".join(_codes(rng, test, unplugged)) or None,
        "yes" if unplugged else ("no" if rng.random() < 0.9 else None),
        NOTES[int(rng.integers(len(NOTES)))] if rng.random() < 0.06 else None,
    )


def _codes(rng: np.random.Generator, test: TestRecord, unplugged: bool) -> list[str]:
    """Codes in the control unit: from the defect, from the lead, or from pulling the plug."""
    two = PARTS[test.sensor.part_no].tracks == 2
    codes: set[str] = set()
    if test.defective and test.spell.severity(test.odometer_km) > 0.2 and rng.random() < 0.55:
        codes.add(str(rng.choice(DEFECT_CODES)))
        if two:
            codes.add(CORRELATION_CODE)
            codes.update([str(rng.choice(SECOND_CODES))] if rng.random() < 0.3 else [])
    if test.lead is not None and rng.random() < 0.5:
        codes.update([str(rng.choice(["P0122", "P0123", "P0124"]))])
    if unplugged and rng.random() < 0.85:
        codes.update((LOW_CODE if rng.random() < 0.7 else HIGH_CODE)[: 2 if two else 1])
        codes.update([CORRELATION_CODE] if two else [])
    return sorted(codes)


def load_ohm(test: TestRecord) -> float:
    """Input resistance of what recorded the sweep: the shop's logger, or a meter."""
    return SHOPS[test.shop_id].pull_down_ohm if test.channel == "volt" else VOLTMETER_OHM
