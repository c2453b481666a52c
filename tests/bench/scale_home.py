"""Files of many tests, every one with its sweep, for the bench of growth with the records.

The invented shops of ``large_home`` with more bikes. Simulating a sweep takes longer than measuring
one, so a few hundred are simulated, from sound and from worn tracks, and each test gets one of them
under its own name, with one sample some counts higher: no two tests' samples are the same, so that
none is measured once for both.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import duckdb
import numpy as np
import pandas as pd

from models.simulate.bench import simulate_sweep
from models.simulate.hand import HandMotion
from models.simulate.logger import Logger
from models.simulate.shops import simulate_shops
from models.simulate.track import TrackState, WornBand
from pipeline.jobs.seed import write_csv
from tests.bench.large_home import TESTS_A_BIKE

POOL = 200
_SEED = 10_000
_AT_ONCE_SAMPLES = 6_000_000
_WORN = WornBand(22.0, 4.0, 120.0, (21.0, 23.0), lift_chance=0.3)


@dataclass(frozen=True)
class Size:
    """What the files hold: counted after writing."""

    tests: int
    sensors: int
    rows: int
    samples: int


def write_scale_files(files: Path, n_tests: int, samples: int) -> Size:
    """The contract's tables, and a sweep of ``samples`` samples for every test.

    Parameters
    ----------
    files : Path
        A folder that is made.
    n_tests : int
        Tests asked for; about so many are made.
    samples : int
        Samples of each sweep: recorded over half a minute, at the rate that gives so many.
    """
    files.mkdir(parents=True)
    bikes = max(1, round(n_tests / TESTS_A_BIKE))
    shops = simulate_shops(_SEED, n_bikes=bikes, sweeps=False, mistakes=False)
    tables = {name: table for name, table in shops.tables.items() if name != "sweeps"}
    tests = tables["test_sessions"] = tables["test_sessions"].assign(sweep_channel="volt")
    for name, table in tables.items():
        write_csv(table, files / f"{name}.csv")
    write_scale_sweeps(files, tests, samples)
    rows = sum(len(table) for table in tables.values())
    return Size(len(tests), len(tables["sensors"]), rows, len(tests) * samples)


def write_scale_sweeps(
    files: Path, tests: pd.DataFrame, samples: int, *, first_no: int = 0
) -> None:
    """Sweeps of ``samples`` samples for rows of ``test_sessions``: of a worn track where it failed.

    Tests are numbered from ``first_no``, and no two numbers have the same samples.
    """
    pool = pd.concat([_pool(samples, worn=False), _pool(samples, worn=True)])
    failed = tests["verdict"].eq("fail").to_numpy()
    number = first_no + np.arange(len(tests))
    chosen = pd.DataFrame(
        {
            "session_id": tests["session_id"].to_numpy(),
            "place": np.where(failed, POOL + number % POOL, number % POOL),
            "raised_no": number // POOL % samples,
            "counts": 1 + number // (POOL * samples),
        }
    )
    step = max(1, _AT_ONCE_SAMPLES // samples)
    with duckdb.connect() as connection:
        connection.execute("set threads = 1")
        connection.execute("set enable_progress_bar = false")
        connection.register("pool", pool)
        for start in range(0, len(chosen), step):
            connection.register("chosen", chosen.iloc[start : start + step])
            connection.execute(
                "copy (select session_id, t_s, "
                f"round(signal + if(sample_no = raised_no, counts * {Logger().step_v}, 0), 6) as signal "
                "from chosen join pool using (place) order by session_id, sample_no) "
                f"to '{files / f'sweeps-{start:08d}.parquet'}' (format parquet)"
            )


def _pool(samples: int, *, worn: bool) -> pd.DataFrame:
    """``POOL`` simulated sweeps: place, t_s, signal."""
    track = TrackState(worn=(_WORN,)) if worn else TrackState()
    hand = HandMotion(passes=10, pass_s=3.4)
    frames = []
    for place in range(POOL):
        rng = np.random.default_rng([_SEED, place, worn])
        swept = simulate_sweep(rng, rate_hz=samples / 30.0, sensor=track, hand=hand)
        frame = swept.frame("").head(samples).drop(columns="session_id")
        if len(frame) < samples:
            raise ValueError(f"{len(frame):,} samples recorded, {samples:,} expected")
        frame["sample_no"] = np.arange(samples)
        frames.append(frame[["sample_no", "t_s", "signal"]].assign(place=place + POOL * worn))
    return pd.concat(frames, ignore_index=True)
