"""How the worklist's view grows with the sensors in service: run by hand, no browser.

``.venv/bin/python -m tests.bench.worklist_bench [--sensors 1200 12000 120000] [--rounds 7]``

Invented worklists in a warehouse on disk. Each part of the view is read as the page reads it, with
one thread, and beside it the way of before: all rows into memory, looked through there. Printed:
processor time of the first reading, from a warehouse just opened; median of the later ones; what
the result weighs where it is kept; medians as ratios to the smallest worklist.
"""

from __future__ import annotations

import argparse
import statistics
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import duckdb
import numpy as np
import pandas as pd

from dashboard.sieve import Sieve, asked_of
from pipeline.access.frames.view_schemas import WORKLIST, WORKLIST_CHOICES
from pipeline.access.reading import read_frame
from pipeline.access.worklist_view import found_from, leaf_from
from pipeline.statements import connect, run, store
from pipeline.weight import weight
from tests.dashboard.fake_views import worklist_rows
from tests.dashboard.test_worklist_found import sieved

Part = Callable[[duckdb.DuckDBPyConnection], object]
_SEARCH = Sieve(words="yard-3 throttle", actions=("Test",))


def invented(sensors: int) -> pd.DataFrame:
    """WORKLIST rows of so many sensors, of 8 shops, in no order."""
    number = np.random.default_rng(7).permutation(sensors)
    return worklist_rows(sensors).assign(
        sensor_id=[f"S-{n:07d}" for n in number],
        unit_id=[f"U-{n // 2:07d}" for n in number],
        label=[f"yard-{n % 8} {n // 2}" for n in number],
        shop_id=[f"shop-{n % 8}" for n in number],
        shop_name=[f"Yard {n % 8}" for n in number],
        urgency=number / sensors,
        defect_now=(number * 7919 % sensors) / sensors,
    )


def kept_in(path: Path, sensors: int) -> None:
    """A warehouse of as much as the view reads."""
    with connect(path) as connection:
        for schema in ("marts", "intake"):
            connection.execute(f"create schema {schema}")
        rows = invented(sensors).sort_values("urgency", ascending=False)
        store(connection, "worklist", WORKLIST.check(rows))
        connection.execute("create table marts.tests (session_id varchar)")
        connection.execute("create table marts.repairs (event varchar)")
        connection.execute("create table intake.set_aside (line bigint)")


def _head(connection: duckdb.DuckDBPyConnection) -> object:
    summary = run(connection, "access/sql/summary").df()
    return summary, read_frame(connection, "worklist_choices", WORKLIST_CHOICES)


def _leaf(asked: Sieve) -> Part:
    offered = WORKLIST_CHOICES.empty()
    return lambda connection: leaf_from(connection, asked_of(asked, offered), 1, {}).rows


def _whole(connection: duckdb.DuckDBPyConnection) -> pd.DataFrame:
    return WORKLIST.check(
        connection.execute("from marts.worklist order by urgency desc, sensor_id").df()
    )


def _before(asked: Sieve) -> Part:
    def read(connection: duckdb.DuckDBPyConnection) -> pd.DataFrame:
        rows = _whole(connection)
        sieved(rows, asked)
        return rows  # was held whole

    return read


PARTS: dict[str, Part] = {
    "head": _head,
    "first leaf": _leaf(Sieve()),
    "by label": _leaf(Sieve(order="Bike")),
    "a search": _leaf(_SEARCH),
    "CSV, asked for": lambda connection: found_from(
        connection, asked_of(Sieve(), WORKLIST_CHOICES.empty()), {}
    ),
    "before: all": _before(Sieve()),
    "before: search": _before(_SEARCH),
}


def measured(path: Path, part: Part, rounds: int) -> tuple[float, float, int]:
    """Processor time of the first reading and median of later ones, s; weight of the result."""
    times = []
    with connect(path, read_only=True) as connection:
        connection.execute("set threads = 1")
        for _ in range(rounds + 1):
            begun = time.process_time()
            result = part(connection)
            times.append(time.process_time() - begun)
    return times[0], statistics.median(times[1:]), weight(result)


def main(arguments: list[str] | None = None) -> int:
    """Print the table."""
    parser = argparse.ArgumentParser(prog="worklist_bench", description=__doc__.splitlines()[0])
    parser.add_argument("--sensors", type=int, nargs="+", default=[1_200, 12_000, 120_000])
    parser.add_argument("--rounds", type=int, default=7)
    asked = parser.parse_args(arguments)
    least: dict[str, float] = {}
    with tempfile.TemporaryDirectory() as folder:
        for sensors in asked.sensors:
            path = Path(folder) / f"{sensors}.duckdb"
            kept_in(path, sensors)
            for name, part in PARTS.items():
                first_s, later_s, weighs = measured(path, part, asked.rounds)
                ratio = later_s / least.setdefault(name, later_s)
                print(
                    f"{sensors:8,} sensors  {name:15} first {first_s * 1e3:7.1f} ms, then "
                    f"{later_s * 1e3:7.1f} ms ({ratio:5.1f} x)  {weighs / 1e3:10,.1f} kB"
                )
    return 0


if __name__ == "__main__":
    sys.exit(main())
