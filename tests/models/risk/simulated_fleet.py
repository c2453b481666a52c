"""A small generator of fleets with known truth, for the risk tests and benchmarks only."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd


@dataclass(frozen=True)
class Truth:
    """Weibull by part with a factor for each duty, and bike frailty (standard deviation of log)."""

    shape: float = 2.0
    scale_km: float = 60_000.0
    parts: tuple[float, ...] = (0.8, 1.0, 1.25)
    duties: tuple[float, ...] = (0.8, 1.25)
    frailty_sd: float = 0.0
    sensitivity: float = 1.0

    def ratio(self, part: np.ndarray, duty: np.ndarray) -> np.ndarray:
        return np.asarray(self.parts)[part] * np.asarray(self.duties)[duty]

    def survival(self, age_km: np.ndarray, ratio: np.ndarray | float = 1.0) -> np.ndarray:
        return np.exp(-((np.asarray(age_km) / self.scale_km) ** self.shape) * ratio)


def simulate(
    bikes: int,
    seed: int,
    truth: Truth = Truth(),
    *,
    sensors_per_bike: int = 1,
    spacing_km: float = 6_000.0,
    share_unknown: float = 0.0,
    watch_km: tuple[float, float] = (5_000.0, 60_000.0),
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Windows and the sensors in service; half the sensors are first seen in use, and
    ``share_unknown`` of these have an unknown age.

    ``true_defect`` (windows) and ``truly_defective``, ``ratio`` (sensors) hold the truth.
    """
    rng = np.random.default_rng(seed)
    n = bikes * sensors_per_bike
    unit = np.repeat(np.arange(bikes), sensors_per_bike)
    part, duty = rng.integers(len(truth.parts), size=n), rng.integers(len(truth.duties), size=bikes)
    ratio = truth.ratio(part, duty[unit])
    entry = np.where(rng.random(n) < 0.5, 0.0, rng.uniform(0, 50_000, n))
    defect = _defect_after_entry(rng, unit, entry, ratio, truth)
    now = entry + rng.uniform(*watch_km, n)
    good, bad = entry.copy(), np.full(n, np.nan)
    for i in range(n):
        for test in np.cumsum(spacing_km * rng.uniform(0.4, 1.6, 200)) + entry[i]:
            if test > now[i]:
                break
            if defect[i] <= test and rng.random() < truth.sensitivity:
                bad[i] = test
                break
            good[i] = test
    unknown = (entry > 0) & (rng.random(n) < share_unknown)
    shift = np.where(unknown, entry, 0.0)
    windows = pd.DataFrame(
        {
            "life_id": [f"S{i}" for i in range(n)],
            "sensor_id": [f"S{i}" for i in range(n)],
            "unit_id": [f"U{u}" for u in unit],
            "part_no": [f"P{p}" for p in part],
            "duty": [f"D{d}" for d in duty[unit]],
            "repaired": False,
            "age_known": ~unknown,
            "entry_km": entry - shift,
            "good_km": good - shift,
            "bad_km": bad - shift,
            "road_failure": ~np.isnan(bad) & (rng.random(n) < 0.2),
            "ratio": ratio,
        }
    )
    sensors = windows.drop(columns=["bad_km", "road_failure"]).assign(
        age_now_km=now - shift,
        true_age_km=now,
        truly_defective=defect <= now,
        last_verdict="pass",
        last_conclusion="nothing_seen",
    )
    return windows, sensors[np.isnan(bad)].reset_index(drop=True)


def with_contact(
    bikes: int, seed: int, *, spacing_km: float = 8_000.0, delay_km: float = 3_000.0
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """A fleet read to this day, tested now and then and whenever a defect is heard of.

    New sensors of one part, Weibull of shape 2 and scale 60,000 km, perfect tests. A defect is
    heard of after an exponential delay, half the times by a road failure.
    """
    rng = np.random.default_rng(seed)
    defect = 60_000.0 * rng.weibull(2.0, bikes)
    heard_at = defect + rng.exponential(delay_km, bikes)
    now = rng.uniform(10_000.0, 70_000.0, bikes)
    tests = np.cumsum(spacing_km * rng.uniform(0.4, 1.6, (bikes, 60)), axis=1)
    before = np.minimum(now, defect)[:, None]
    good = np.where(tests <= before, tests, 0.0).max(axis=1)
    due = np.where(tests > defect[:, None], tests, np.inf).min(axis=1)
    bad = np.minimum(heard_at, due)
    found, heard = bad <= now, heard_at <= due
    names = [f"S{i}" for i in range(bikes)]
    windows = pd.DataFrame(
        {
            "life_id": names,
            "sensor_id": names,
            "unit_id": names,
            "part_no": "P",
            "duty": None,
            "repaired": False,
            "age_known": True,
            "entry_km": 0.0,
            "good_km": good,
            "bad_km": np.where(found, bad, np.nan),
            "road_failure": found & heard & (rng.random(bikes) < 0.5),
            "heard": found & heard,
            "contact_km": np.where(found, np.nan, now),
        }
    )
    sensors = windows.drop(columns=["bad_km", "road_failure", "heard"]).assign(
        age_now_km=now,
        good_km=np.where(good > 0, good, np.nan),
        truly_defective=defect <= now,
        last_verdict="pass",
        last_conclusion="nothing_seen",
    )
    return windows, sensors[~found].reset_index(drop=True)


def _defect_after_entry(
    rng: np.random.Generator, unit: np.ndarray, entry: np.ndarray, ratio: np.ndarray, truth: Truth
) -> np.ndarray:
    """Defect ages; bikes are drawn anew until all their sensors are sound when first seen."""
    defect = np.zeros(len(unit))
    again = np.ones(len(unit), dtype=bool)
    while again.any():
        log_frail = rng.normal(-(truth.frailty_sd**2) / 2, truth.frailty_sd, unit.max() + 1)[unit]
        hazard = rng.exponential(size=len(unit)) / (ratio * np.exp(log_frail))
        defect = np.where(again, truth.scale_km * hazard ** (1 / truth.shape), defect)
        again = np.isin(unit, unit[defect <= entry])
    return defect
