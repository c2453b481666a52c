"""The demo with long sweeps of one sensor handed in as any other file: for the page bench.

No test of the demo has 60,000 samples; some bench tests of one sensor in service are added, each
recorded for a minute at 1,000 samples a second. Several, so that the page of one can be opened
again and again without any of them being kept in memory already.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd

from models.simulate.bench import simulate_sweep
from models.simulate.hand import HandMotion
from models.simulate.track import TrackState, WornBand
from pipeline.home import Home
from pipeline.jobs.demo import AS_OF, SEED
from pipeline.jobs.ingest import ingest
from pipeline.warehouse.publish import newest

SAMPLES = 60_000
RATE_HZ = 1000.0
TESTS = 7
WORN = WornBand(37.0, 3.0, 150.0, (36.5, 37.2), lift_chance=0.9)
_SEED = 60_000


def long_sweep_home(folder: Path) -> Home:
    """A home with the demo's records and the long sweeps, built once in ``folder``."""
    home = Home(folder).prepare("demo", as_of=AS_OF)
    found = newest(home)
    if found is None or not found.is_current:
        handed_in = folder.with_name(f"{folder.name}-files")
        handed_in.mkdir(parents=True, exist_ok=True)
        write_long_tests(handed_in)
        ingest(home, [SEED, handed_in], progress=True)
    return home


def write_long_tests(folder: Path, records: Path = SEED) -> None:
    """The tests as contract files: `test_sessions-long.csv` and `sweeps-long.parquet`.

    ``records`` holds the tables whose sensors are tested.
    """
    tests = pd.read_csv(records / "test_sessions.csv", dtype=str)
    sensors = pd.read_csv(records / "sensors.csv", dtype=str)
    in_service = sensors.loc[sensors["removed_on"].isna(), "sensor_id"]
    swept = tests[tests["sensor_id"].isin(in_service) & tests["sweep_channel"].eq("volt")]
    last = swept.sort_values("tested_at").iloc[-1].to_dict()
    day = last["tested_at"][:10]
    rows = [
        last
        | {"session_id": name, "tested_at": f"{day}T{18 + n // 4}:{n % 4}5:00+02:00"}
        | {"verdict": "suspect", "reason": "routine"}
        for n, name in enumerate(long_tests())
    ]
    pd.DataFrame(rows).to_csv(folder / "test_sessions-long.csv", index=False)
    worn = replace(TrackState(), worn=(WORN,))
    sweeps = [long_sweep(name, worn, seed=_SEED + n) for n, name in enumerate(long_tests())]
    pd.concat(sweeps).to_parquet(folder / "sweeps-long.parquet", index=False)


def long_tests() -> list[str]:
    """Names of the long tests, the earliest first."""
    return [f"LONG-{n + 1}" for n in range(TESTS)]


def long_sweep(session_id: str, track: TrackState, *, seed: int) -> pd.DataFrame:
    """Passes of about 3.6 s, cut at 60,000 samples; contract columns."""
    hand = HandMotion(passes=18, pass_s=3.6)
    swept = simulate_sweep(
        np.random.default_rng(seed), rate_hz=RATE_HZ, sensor=track, hand=hand, channel="volt"
    ).frame(session_id)
    if len(swept) < SAMPLES:
        raise ValueError(f"{len(swept):,} samples recorded, {SAMPLES:,} expected")
    return swept.head(SAMPLES)
