"""What could be told of roughness by one who knows more than a sweep shows: ceilings, no rivals.

Both know the recording's noise, and where the rough stretch would be and how wide. ``place known``
adds up the squared departures from the local line there; ``motion known`` also knows the hand's
motion and the sound track, and takes the mean departure from that course. No measure that must find
the place itself, or knows the motion from the output alone, can be asked for as much.
"""

from __future__ import annotations

import numpy as np

from models.simulate.bench import SimulatedSweep
from models.simulate.divider import loaded_divider_v
from models.simulate.track import WornBand, random_worn_band, wiper_fraction
from models.sweeps.windows import line_samples, off_local_line

NAMES = ("ideal, place known", "ideal, place and motion known")
MARGIN = 60  # samples left out at a sweep's ends


def scores(rng: np.random.Generator, sweep: SimulatedSweep) -> tuple[float, float]:
    """Both ideal detectors' z on one sweep; on a sound one, at a place drawn like a worn one."""
    worn = sweep.sensor.worn
    band = worn[0] if worn else random_worn_band(rng, lifts=False)
    inside, outside = _places(sweep, band)
    if not inside.any() or not outside.any():
        return 0.0, 0.0
    return _energy_z(sweep, inside, outside), _sag_z(sweep, inside, outside)


def _places(sweep: SimulatedSweep, band: WornBand) -> tuple[np.ndarray, np.ndarray]:
    away = np.abs(sweep.true_travel_pct - band.centre_pct)
    inside = away < 0.5 * band.width_pct
    outside = (away > 0.7 * band.width_pct) & (np.abs(sweep.true_travel_pct - 50.0) < 47.0)
    for flags in (inside, outside):
        flags[:MARGIN] = flags[-MARGIN:] = False
    return inside, outside


def _energy_z(sweep: SimulatedSweep, inside: np.ndarray, outside: np.ndarray) -> float:
    y = (100.0 * sweep.signal / sweep.supply_v).astype(np.float32)
    lengths = line_samples(np.array([1.0 / sweep.rate_hz]))
    square = off_local_line(y, np.array([0, y.size]), lengths).astype(float) ** 2
    n = inside.sum()
    return float((square[inside].sum() / square[outside].mean() - n) / np.sqrt(2.0 * n))


def _sag_z(sweep: SimulatedSweep, inside: np.ndarray, outside: np.ndarray) -> float:
    speed = np.gradient(sweep.true_travel_pct, sweep.t_s)
    course = loaded_divider_v(
        wiper_fraction(sweep.sensor, sweep.true_travel_pct, speed),
        supply_v=sweep.supply_v,
        track_ohm=sweep.sensor.track_ohm,
        load_ohm=sweep.logger.pull_down_ohm,
        contact_ohm=np.full(sweep.t_s.size, sweep.sensor.contact_ohm),
    )
    rest = sweep.signal - course
    error = rest[outside].std() * np.sqrt(1.0 / inside.sum() + 1.0 / outside.sum())
    return float((rest[outside].mean() - rest[inside].mean()) / error)
