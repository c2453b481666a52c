"""A home of many tests, for benches of pages and load: invented shops with thousands of bikes.

``.venv/bin/python -m tests.bench.large_home FOLDER [--tests 100000] [--sweep-every 12]``

The demo's shops with more bikes, so that about the number of tests asked for is made; of every so
many tests one has its sweep, and seven tests of one sensor have 60,000 samples each. The files are
written to ``FOLDER-files`` and handed in like any others.
"""

from __future__ import annotations

import argparse
import time
from pathlib import Path

import pandas as pd

from models.simulate.archive import sweeps
from models.simulate.shops import History, play_history, simulate_shops
from models.simulate.tables import session_ids
from pipeline.home import Home
from pipeline.jobs.demo import AS_OF
from pipeline.jobs.ingest import ingest
from pipeline.jobs.seed import write_csv
from pipeline.warehouse.publish import newest
from tests.bench.long_sweep_home import write_long_tests

#: Tests a bike in the demo's five years and ten months.
TESTS_A_BIKE = 7.0
_SEED = 100_000
#: Sweeps simulated at a time: their samples are held in memory.
_AT_ONCE = 1_000


def large_home(folder: Path, *, n_tests: int = 100_000, sweep_every: int = 12) -> Home:
    """The home, built once in ``folder``."""
    home = Home(folder).prepare("demo", as_of=AS_OF)
    found = newest(home)
    if found is None or not found.is_current:
        files = folder.with_name(f"{folder.name}-files")
        if not (files / "whole").exists():
            write_files(files, n_tests, sweep_every)
        tables = [path for path in sorted(files.iterdir()) if path.suffix in (".csv", ".parquet")]
        ingest(home, tables, progress=True, say=lambda text: print(time.ctime(), text, flush=True))
    return home


def write_files(files: Path, n_tests: int, sweep_every: int) -> None:
    """The contract's tables of the invented shops, and the sweeps of some of their tests."""
    files.mkdir(parents=True, exist_ok=True)
    n_bikes = max(1, round(n_tests / TESTS_A_BIKE))
    shops = simulate_shops(_SEED, n_bikes=n_bikes, sweeps=False, mistakes=False)
    for name, table in shops.tables.items():
        write_csv(table, files / f"{name}.csv")
    _write_sweeps(files, play_history(_SEED, n_bikes), sweep_every)
    write_long_tests(files, files)
    (files / "whole").touch()


def _write_sweeps(files: Path, history: History, sweep_every: int) -> None:
    everyone = session_ids(history.tests)
    swept = [place for place, test in enumerate(history.tests) if test.number % sweep_every == 0]
    for start in range(0, len(swept), _AT_ONCE):
        some = swept[start : start + _AT_ONCE]
        tests = [history.tests[place] for place in some]
        table, _ = sweeps(_SEED, tests, history.tracks, history.readings.iloc[some])
        # numbered among these tests alone: under the keys of all of them
        keys = {own: everyone[number] for number, own in session_ids(tests).items()}
        table["session_id"] = table["session_id"].map(keys)
        table.to_parquet(files / f"sweeps-{start:06d}.parquet", index=False)


def main(arguments: list[str] | None = None) -> int:
    """Build it, and say what it holds."""
    parser = argparse.ArgumentParser(prog="large_home", description=__doc__.splitlines()[0])
    parser.add_argument("folder", type=Path)
    parser.add_argument("--tests", type=int, default=100_000)
    parser.add_argument("--sweep-every", type=int, default=12)
    asked = parser.parse_args(arguments)
    begun = time.perf_counter()
    home = large_home(asked.folder, n_tests=asked.tests, sweep_every=asked.sweep_every)
    files = asked.folder.with_name(f"{asked.folder.name}-files")
    for name in ("units", "sensors", "test_sessions"):
        print(f"{name}: {len(pd.read_csv(files / f'{name}.csv', usecols=[0])):,}")
    print(f"{home.root}: {time.perf_counter() - begun:,.0f} s")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
