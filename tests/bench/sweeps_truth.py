"""Simulated sweeps with known faults, in batches, for tuning and scoring.

Tuning and scoring never share a seed: TUNE and SCORE are the first words of every seed.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd

from models.simulate.bench import SimulatedSweep, simulate_sweep
from models.simulate.hand import HandMotion
from models.simulate.logger import random_logger
from models.simulate.track import random_lead_fault, random_track, random_worn_band

TUNE, SCORE = 11, 31
KINDS = ("healthy", "worn", "lead", "tug", "rough")


def sweeps(
    kind: str,
    count: int,
    rate_hz: float,
    seed: int,
    recorded_by: dict[str, Any] | None = None,
    **how: Any,
) -> Iterator[SimulatedSweep]:
    """Sweeps of one kind at one rate: six slow passes, 2.5 to 4.5 s each, random makes.

    ``recorded_by`` sets properties of the otherwise random logger.
    """
    for i in range(count):
        rng = np.random.default_rng([seed, KINDS.index(kind), int(rate_hz), i])
        sensor = random_track(rng)
        if kind == "worn":
            sensor = replace(sensor, worn=(random_worn_band(rng, rough=bool(rng.random() < 0.7)),))
        elif kind == "rough":
            sensor = replace(sensor, worn=(random_worn_band(rng, lifts=False),))
        elif kind in ("lead", "tug"):
            fault = random_lead_fault(rng, kind="tug" if kind == "tug" else None)
            sensor = replace(sensor, lead=fault)
        hand = HandMotion(pass_s=float(rng.uniform(2.5, 4.5)))
        logger = replace(random_logger(rng), **(recorded_by or {}))
        yield simulate_sweep(rng, rate_hz=rate_hz, sensor=sensor, hand=hand, logger=logger, **how)


def session_id(i: int) -> str:
    """Name of the i-th sweep of a batch."""
    return f"S{i:06d}"


def frames(batch: list[SimulatedSweep]) -> tuple[pd.DataFrame, pd.DataFrame]:
    """SAMPLES and CONTEXTS frames of a batch."""
    rows = [s.frame(session_id(i)).assign(sample_no=range(len(s.t_s))) for i, s in enumerate(batch)]
    contexts = [
        {
            "session_id": session_id(i),
            "sweep_channel": s.channel,
            "supply_v": s.supply_v,
            "output": s.sensor.output,
            "kind": "potentiometer",
            "tracks": 1,
            "meter_load_ohm": s.logger.pull_down_ohm,
            "track_ohm": s.sensor.track_ohm,
        }
        for i, s in enumerate(batch)
    ]
    return pd.concat(rows, ignore_index=True), pd.DataFrame(contexts)


def in_batches(source: Iterator[SimulatedSweep], size: int = 500) -> Iterator[list]:
    """Lists of up to ``size`` sweeps."""
    batch = []
    for sweep in source:
        batch.append(sweep)
        if len(batch) == size:
            yield batch
            batch = []
    if batch:
        yield batch
