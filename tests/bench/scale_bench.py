"""How building grows with the records, and what reading costs beside DuckDB's bare ``COPY``.

``nice -n 19 .venv/bin/python -m tests.bench.scale_bench [--tests 1000 10000] [--samples 12000]``:
for each number of tests the files of ``scale_home`` are read by the pipeline and, as they are, by
``COPY`` into tables of their own types; then a home is built from them. Processor time
throughout, one thread, each size in a process of its own. Growth is the exponent in the number of
tests, from each size to the next. Memory is the most that a stage held, the process itself included.

With ``--rows-only FOLDER [--rounds 5]`` only the tables (CSV) of a folder are read, by ``COPY`` and by
the pipeline in turns, so that other work on the machine bears on both alike.
"""

from __future__ import annotations

import argparse
import re
import tempfile
import time
from dataclasses import dataclass
from itertools import pairwise
from multiprocessing import get_context
from pathlib import Path

import duckdb
import numpy as np
import pandas as pd

from pipeline.home import Home
from pipeline.intake.receive import receive
from pipeline.intake.settle import read_all
from pipeline.jobs.demo import AS_OF
from pipeline.jobs.ingest import rebuild
from pipeline.statements import connect
from tests.bench.scale_home import Size, write_scale_files


@dataclass(frozen=True)
class Built:
    """One size: its stages (stage, seconds of processor time, peak_mb), and bytes by folder."""

    size: Size
    stages: pd.DataFrame
    held_bytes: dict[str, int]

    @property
    def seconds(self) -> float:
        """Processor time of reading and building."""
        ours = ~self.stages["stage"].str.startswith("COPY")
        return float(self.stages.loc[ours, "seconds"].sum())


def measured(n_tests: int, samples: int, folder: Path, *, bare_copy: bool = True) -> Built:
    """Write the files, read them, build a home of them; ``bare_copy`` beside DuckDB's ``COPY``."""
    size = write_scale_files(folder / "files", n_tests, samples)
    tables = sorted((folder / "files").glob("*.csv"))
    sweeps = sorted((folder / "files").glob("*.parquet"))
    home = Home(folder / "home").prepare("demo", as_of=AS_OF)
    stages = _Stages()
    for name, files in (("rows", tables), ("samples", sweeps)):
        if bare_copy:
            stages.add(f"COPY of {name}", _copied(folder / f"{name}.duckdb", files))
        receive(home, files)
        stages.begin()
        _read(home)
        stages.end(f"reading {name}")
    stage = "beginning"

    def say(text: str) -> None:
        nonlocal stage
        stages.end(stage)
        stage = text

    stages.begin()
    rebuild(home, say=say)
    stages.end(stage)
    return Built(size, stages.frame(), _held_bytes(home))


def compared(tables: list[Path], rounds: int) -> pd.DataFrame:
    """Processor seconds of ``COPY`` of the tables and of reading them, a row for each round."""
    found = []
    for _ in range(rounds):
        with tempfile.TemporaryDirectory(prefix="rows-") as folder:
            home = Home(Path(folder) / "home").prepare("demo", as_of=AS_OF)
            receive(home, tables)
            bare = _copied(Path(folder) / "rows.duckdb", tables)
            begun = time.process_time()
            _read(home)
            found.append((bare, time.process_time() - begun))
    return pd.DataFrame(found, columns=["copy_s", "reading_s"])


def _read(home: Home) -> None:
    """Read what was handed in, on one thread."""
    with connect() as connection:
        connection.execute("set threads = 1")
        read_all(connection, home)


def _held_bytes(home: Home) -> dict[str, int]:
    """Bytes in each folder of the home."""
    folders = sorted(path for path in home.root.iterdir() if path.is_dir())
    return {
        folder.name: sum(path.stat().st_size for path in folder.rglob("*") if path.is_file())
        for folder in folders
    }


def _copied(database: Path, files: list[Path]) -> float:
    """Processor seconds of ``COPY`` into tables that have the files' columns and types."""
    with duckdb.connect(str(database), config={"threads": 1}) as connection:
        connection.execute("set enable_progress_bar = false")
        for number, path in enumerate(files):
            read = "read_parquet" if path.suffix == ".parquet" else "read_csv"
            connection.execute(f"create table copy_{number} as from {read}('{path}') limit 0")
        begun = time.process_time()
        for number, path in enumerate(files):
            connection.execute(f"copy copy_{number} from '{path}'")
        connection.execute("checkpoint")
        taken = time.process_time() - begun
    database.unlink()
    return taken


class _Stages:
    """Processor time of stages one after another, and the most memory that each held."""

    def __init__(self) -> None:
        self._rows: list[tuple[str, float, float]] = []
        self._begun = 0.0

    def begin(self) -> None:
        Path("/proc/self/clear_refs").write_text("5")  # forget the peak so far
        self._begun = time.process_time()

    def end(self, stage: str) -> None:
        taken = time.process_time() - self._begun
        self.add(stage, taken)
        self.begin()

    def add(self, stage: str, seconds: float) -> None:
        peak = re.search(r"VmHWM:\s+(\d+)", Path("/proc/self/status").read_text())
        self._rows.append((stage, seconds, int(peak[1]) / 1024 if peak else np.nan))
        print(f"  {stage}: {seconds:,.1f} s, {self._rows[-1][2]:,.0f} MB", flush=True)

    def frame(self) -> pd.DataFrame:
        return pd.DataFrame(self._rows, columns=["stage", "seconds", "peak_mb"])


def report_rows(seconds: pd.DataFrame) -> None:
    """Print each round, and how the medians compare."""
    print(seconds.round(2).to_string())
    copied, read = seconds["copy_s"].median(), seconds["reading_s"].median()
    print(f"read in {read / copied:.2f} x the processor time of DuckDB's bare COPY")


def report(results: list[Built]) -> None:
    """Print what was measured: each size, then growth from size to size."""
    for built in results:
        size, stages = built.size, built.stages
        seconds = stages.set_index("stage")["seconds"]
        print(
            f"{size.tests:,} tests, {size.sensors:,} sensors, {size.samples / 1e6:,.0f} M samples"
        )
        for name, count in (("rows", size.rows), ("samples", size.samples)):
            ours, bare = seconds[f"reading {name}"], seconds.get(f"COPY of {name}")
            beside = "" if bare is None else f", {ours / bare:.1f} x DuckDB's bare COPY"
            print(f"  {name} read: {count / ours:,.0f} a second of processor time{beside}")
        for row in stages[~stages["stage"].str.startswith("COPY")].itertuples():
            print(f"  {row.seconds:9.1f} s {row.peak_mb:7,.0f} MB  {row.stage}")
        print(f"  {built.seconds:9.1f} s {stages['peak_mb'].max():7,.0f} MB  in all")
        held = {name: count for name, count in built.held_bytes.items() if count >= 1e5}
        print("  at rest: " + ", ".join(f"{name} {n / 1e6:,.1f} MB" for name, n in held.items()))
    for some, more in pairwise(results):
        tests = np.log(more.size.tests / some.size.tests)
        grown = np.log(more.seconds / some.seconds) / tests
        print(
            f"{some.size.tests:,} to {more.size.tests:,} tests: "
            f"time grows as tests to the {grown:.2f}"
        )
        both = some.stages.merge(more.stages, on="stage", suffixes=("", "_more"))
        for row in both[both["seconds_more"] > 0.02 * more.seconds].itertuples():
            print(f"    {np.log(row.seconds_more / row.seconds) / tests:5.2f}  {row.stage}")


def main(arguments: list[str] | None = None) -> int:
    """Each size in a fresh process, the smallest first."""
    parser = argparse.ArgumentParser(prog="scale_bench", description=__doc__.splitlines()[0])
    parser.add_argument("--tests", type=int, nargs="*", default=[1_000, 10_000])
    parser.add_argument("--samples", type=int, default=12_000)
    parser.add_argument("--no-copy", action="store_true", help="leave DuckDB's bare COPY out")
    parser.add_argument("--kept", type=Path, help="where files and homes stay, by number of tests")
    parser.add_argument("--rows-only", type=Path, metavar="FOLDER")
    parser.add_argument("--rounds", type=int, default=5)
    asked = parser.parse_args(arguments)
    if asked.rows_only:
        report_rows(compared(sorted(asked.rows_only.glob("*.csv")), asked.rounds))
        return 0
    results = []
    for n_tests in sorted(asked.tests):
        with (
            tempfile.TemporaryDirectory(prefix="scale-") as folder,
            get_context("spawn").Pool(1) as fresh,
        ):
            where = asked.kept / f"{n_tests}x{asked.samples}" if asked.kept else Path(folder)
            how = {"bare_copy": not asked.no_copy}
            results.append(fresh.apply(measured, (n_tests, asked.samples, where), how))
        print(f"{n_tests:,} built", flush=True)
    report(results)
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
