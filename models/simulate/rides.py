"""A rider's throttle over time: it hovers about what the duty holds, closes and opens again."""

from __future__ import annotations

import numpy as np
import pandas as pd

from models.simulate.riding import Bike, date_of
from models.simulate.world import DUTIES, LAST_DAY, UTC_OFFSET_H

RIDES = 5
RIDE_S, RIDE_HZ = 360, 1.0
HOLD_S = 9.0  # mean time a throttle position is held before the next (assumed)
CLOSED_SHARE = 0.22  # share of holds with the throttle shut: stops, bends, engine braking
SETTLE = 0.5  # approach to a new position within one sample
COLUMNS = ["unit_id", "started_at", "t_s", "travel_pct"]


def ride_log(rng: np.random.Generator, bikes: list[Bike]) -> pd.DataFrame:
    """Contract table ``ride_log``: a few short rides of bikes in view, one a duty."""
    chosen: dict[str, Bike] = {}
    for bike in bikes:
        if bike.gone is None and bike.first_day < LAST_DAY - 40:
            chosen.setdefault(bike.duty, bike)
    frames = [_ride(rng, bike) for bike in list(chosen.values())[:RIDES]]
    return pd.concat(frames, ignore_index=True) if frames else pd.DataFrame(columns=COLUMNS)


def _ride(rng: np.random.Generator, bike: Bike) -> pd.DataFrame:
    samples = int(RIDE_S * RIDE_HZ)
    start = date_of(LAST_DAY - int(rng.integers(2, 30)))
    clock = f"{int(rng.integers(7, 19)):02d}:{int(rng.integers(60)):02d}"
    return pd.DataFrame(
        {
            "unit_id": bike.unit_id,
            "started_at": f"{start}T{clock}:00+{UTC_OFFSET_H:02d}:00",
            "t_s": np.arange(samples) / RIDE_HZ,
            "travel_pct": np.round(throttle(rng, bike.duty, samples), 1),
        },
        columns=COLUMNS,
    )


def throttle(rng: np.random.Generator, duty: str, samples: int) -> np.ndarray:
    """Travel per cent over time at RIDE_HZ, shape (samples,)."""
    holds = DUTIES[duty].holds
    weights = np.array([weight for weight, _, _ in holds])
    at, travel, left, target = 0.0, np.empty(samples), 0.0, 0.0
    for k in range(samples):
        if left <= 0.0:
            left = rng.exponential(HOLD_S)
            _, centre, spread = holds[int(rng.choice(len(holds), p=weights / weights.sum()))]
            shut = rng.random() < CLOSED_SHARE
            target = 0.0 if shut else centre + spread * rng.standard_normal()
        at += SETTLE * (target - at)
        travel[k] = at + (0.6 * rng.standard_normal() if target > 0.0 else 0.0)
        left -= 1.0 / RIDE_HZ
    return np.clip(travel, 0.0, 100.0)
