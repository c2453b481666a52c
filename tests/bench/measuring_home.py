"""A home of many tests built up to its measuring, which can then be done again and again."""

from __future__ import annotations

import shutil
from pathlib import Path
from unittest.mock import patch

from pipeline.home import Home
from pipeline.intake.receive import receive
from pipeline.jobs.demo import AS_OF
from pipeline.jobs.ingest import rebuild
from pipeline.jobs.measure import RESULTS, measure_missing
from pipeline.jobs.progress import LongWork
from pipeline.jobs.workers import Workers
from pipeline.statements import connect
from pipeline.warehouse import build as build_module
from pipeline.warehouse.publish import newest
from tests.bench.kill_bench import NUMBERS_ONLY
from tests.bench.scale_home import write_scale_files


class MeasuringHome:
    """``sweeps`` tests with a sweep of 12,000 samples each, kept by shop and month."""

    def __init__(self, folder: Path, sweeps: int) -> None:
        self.size = write_scale_files(folder / "files", sweeps, 12_000)
        self._home = Home(folder / "home").prepare("demo", as_of=AS_OF)
        receive(self._home, [folder / "files"])
        left_out = {
            name: lambda *of, given=given, **how: given for name, given in NUMBERS_ONLY.items()
        }
        with patch.multiple(build_module, **left_out):
            rebuild(self._home)
        shutil.copy(newest(self._home).path, folder / "again.duckdb")
        self._connection = connect(folder / "again.duckdb")

    def measured_again(self, workers: Workers) -> dict[str, bytes]:
        """Measure all sweeps as a build does that has no results yet; the files kept of it."""
        for path in self._home.measured.iterdir():
            path.unlink()
        for name in ("contexts", *RESULTS):
            self._connection.execute(f"drop table marts.sweep_{name}")
        measure_missing(self._connection, self._home, LongWork(workers))
        return {path.name: path.read_bytes() for path in sorted(self._home.measured.iterdir())}

    def close(self) -> None:
        """Let the records go."""
        self._connection.close()
