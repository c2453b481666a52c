"""Builds begun to be interrupted, and what must be so afterwards."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from unittest.mock import patch

from pipeline.environment import CHECKOUT
from pipeline.home import Home
from pipeline.jobs import measure
from pipeline.jobs.how_far import how_far
from pipeline.jobs.ingest import rebuild
from pipeline.jobs.keeping.check_home import check_home
from pipeline.jobs.measure import batches
from pipeline.warehouse.leftovers import leftovers
from pipeline.warehouse.publish import newest
from tests.bench.repro_compare import not_the_same_bytes
from tests.pipeline.shop_files import SHOP, sweep_csv

SWEEPS = 12
_NAMES = [f"T{number}" for number in range(100, 100 + SWEEPS)]
_TESTS = "".join(
    f"{name},S2,s1,2024-04-{day:02}T09:00:00+00:00,{12_000 + day},routine,5.00,volt,pass\n"
    for day, name in enumerate(_NAMES, 1)
)
FILES = SHOP | {"test_sessions": SHOP["test_sessions"] + _TESTS}
FILES |= {f"sweeps-{name}": sweep_csv(name) for name in _NAMES}


@contextmanager
def build_begun(home: Home, folder: Path, *words: str) -> Iterator[subprocess.Popen]:
    """A build that measures slowly and has measured a few sweeps; its process leads a group.

    What it says goes to ``said``, the numbers of processes that measured to ``workers``.
    """
    command = [sys.executable, "-m", "tests.pipeline.jobs.slow_build", "rebuild"]
    (folder / "workers").mkdir()
    process = subprocess.Popen(
        [*command, "--home", str(home.root), *words],
        cwd=CHECKOUT,
        env=os.environ | {"SEEN_WORKERS": str(folder / "workers")},
        stderr=(folder / "said").open("w"),
        stdout=subprocess.DEVNULL,
        start_new_session=True,
    )
    wait_until(lambda: len(batches(home)) >= 3)
    yield process
    if process.poll() is None:
        os.killpg(process.pid, signal.SIGKILL)
        process.wait()


def wait_until(what: Callable[[], bool], longest_s: float = 60.0) -> None:
    """Wait for something that must come."""
    end = time.monotonic() + longest_s
    while not what():
        assert time.monotonic() < end, "it never came to that"
        time.sleep(0.02)


def all_is_well(home: Home, kept: int) -> None:
    """No lock, no half file, and the batches measured are kept."""
    assert not home.is_being_built
    assert how_far(home) is None
    assert leftovers(home) == []
    assert not list(home.published.glob(".draft*"))
    assert len(batches(home)) >= kept


def same_tables(home: Home, other: Home) -> bool:
    """Whether what was published in both is the same bytes, table by table."""
    differing = not_the_same_bytes(newest(home).path, newest(other).path)
    return set(differing) <= {"intake.files"}  # it names the home's folder


def goes_on_where_it_was(home: Home, built_by_one: Home) -> None:
    """The next build measures what is missing, and comes to what one uninterrupted does."""
    kept = len(batches(home))
    assert kept < SWEEPS
    said: list[str] = []
    with patch.object(measure, "BATCH_SAMPLES", 1):
        rebuild(home, say=said.append)
    assert len(batches(home)) == SWEEPS
    assert check_home(home) == []
    assert same_tables(home, built_by_one)
