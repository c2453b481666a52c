"""Seconds and peak memory of ours at 5,000, 50,000 and 500,000 sensors, beside rivals at 5,000.

Each in a process of its own that reads the records from files, so that neither the simulator nor
one another's memory counts.
"""

from __future__ import annotations

import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pandas as pd

from tests.bench.risk_rivals import rivals
from tests.bench.risk_scores import ours
from tests.models.risk.wearing_fleet import WearingFleet, simulate_wearing_fleet
from tests.models.risk.wearing_world import World, drawn_wear

SIZES = (5_000, 50_000, 500_000)
_LIVES_PER_BIKE = 1.55
_FRAMES = ("windows", "sensors_now", "wear_readings", "contact_gaps", "bikes", "contacts")


def peak_mb() -> float:
    """Peak resident memory of this process, MB (Linux counts in kB)."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def timed(work: Callable[[], object]) -> float:
    """Seconds that the work takes."""
    start = time.perf_counter()
    work()
    return time.perf_counter() - start


def write_records(sensors: int, folder: str) -> None:
    """Simulate so many sensor lives and write their records."""
    fleet = simulate_wearing_fleet(round(sensors / _LIVES_PER_BIKE), 1)
    for name in _FRAMES:
        getattr(fleet, name).to_parquet(Path(folder) / f"{name}.parquet")


def _read_records(folder: str) -> WearingFleet:
    frames = {name: pd.read_parquet(Path(folder) / f"{name}.parquet") for name in _FRAMES}
    return WearingFleet(World(), drawn_wear(World(), 1), **frames)


def measure(who: str, folder: str) -> None:
    """Fit and score the records in the folder; print seconds and MB.

    Ours without and with the draws behind its intervals, which rivals do not have.
    """
    fleet = _read_records(folder)
    before, sensors = peak_mb(), len(fleet.windows)
    plain = timed(lambda: ours(fleet) if who == "ours" else rivals()[who](fleet))
    drawn = timed(lambda: ours(fleet, n_resamples=200)) if who == "ours" else np.nan
    print(f"{who};{sensors};{plain:.2f};{drawn:.2f};{before:.0f};{peak_mb():.0f}")


def _run(*command: str) -> str:
    whole = [sys.executable, "-m", "tests.bench.risk_bench", *command]
    done = subprocess.run(whole, check=True, stdout=subprocess.PIPE, text=True)
    return done.stdout.strip().splitlines()[-1] if done.stdout.strip() else ""


def speed(sizes: tuple[int, ...]) -> None:
    """Print the table, ours against the quickest of the rivals at the first size."""
    rows = []
    for size in sizes:
        with tempfile.TemporaryDirectory() as folder:
            _run("records", str(size), folder)
            names = ["ours", *(rivals() if size == sizes[0] else ())]
            rows += [_run("one", name, folder).split(";") for name in names]
            print(f"measured {size:,}", flush=True)
    quickest = min(float(row[2]) for row in rows if row[0] != "ours")
    print(f"{'':30} sensors  fit and score s  / quickest  with intervals s  MB before  MB peak")
    for who, sensors, plain, drawn, before, peak in rows:
        ratio = float(plain) / quickest
        print(
            f"{who:30} {sensors:>7} {plain:>16} {ratio:>11.2f} {drawn:>17} {before:>10} {peak:>8}"
        )
