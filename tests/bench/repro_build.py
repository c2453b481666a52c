"""Build one home from nothing with a set number of threads, in a process of its own.

``python -m tests.bench.repro_build HOME FILES THREADS [forced]``: FILES is a folder of contract
files, or ``demo``. With ``forced`` DuckDB spreads even small tables over its threads.
"""

from __future__ import annotations

import sys
from datetime import UTC, date, datetime
from pathlib import Path

import duckdb

from pipeline.home import DEMO, OWN, Home
from pipeline.intake.receive import receive
from pipeline.jobs.demo import AS_OF, SEED
from pipeline.warehouse.build import build

NOW = datetime(2026, 11, 1, 12, tzinfo=UTC)


def use_threads(count: int, *, forced: bool) -> None:
    """Let every connection of this process use so many threads."""
    plain = duckdb.connect

    def connect(*args: object, **words: object) -> duckdb.DuckDBPyConnection:
        connection = plain(*args, **words)
        connection.execute(f"set threads = {count}")
        if forced:
            connection.execute("pragma verify_parallelism")
        return connection

    duckdb.connect = connect


def build_once(root: Path, files: str, day: date = AS_OF) -> Path:
    """Hand the files in, build, and return the warehouse."""
    is_demo = files == "demo"
    home = Home(root).prepare(DEMO if is_demo else OWN, as_of=day)
    receive(home, [SEED if is_demo else Path(files)], NOW)
    with home.one_builder():
        return build(home).path


def main() -> int:
    """Command line."""
    root, files, threads, *forced = sys.argv[1:]
    use_threads(int(threads), forced=bool(forced))
    print(build_once(Path(root), files))
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
