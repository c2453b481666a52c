"""A build that is cancelled, or loses processes, leaves all well and goes on where it was."""

from __future__ import annotations

import os
import shutil
import signal
import time
from pathlib import Path

import pytest

from pipeline.home import Home
from pipeline.jobs.cancel import CancelledError, cancellable
from pipeline.jobs.how_far import how_far
from pipeline.jobs.ingest import rebuild
from pipeline.jobs.keeping.check_home import check_home
from pipeline.jobs.measure import batches
from pipeline.jobs.workers import Workers
from pipeline.warehouse.publish import newest
from tests.pipeline.jobs.interrupted import (
    SWEEPS,
    all_is_well,
    build_begun,
    goes_on_where_it_was,
    same_tables,
    wait_until,
)

pytestmark = pytest.mark.skipif(os.name == "nt", reason="signals to processes of their own")


@pytest.fixture
def home(handed_in, tmp_path) -> Home:
    shutil.copytree(handed_in.root, tmp_path / "home")
    return Home(tmp_path / "home")


@pytest.fixture
def begun(home, tmp_path):
    """A build by two workers, under way."""
    with build_begun(home, tmp_path, "--workers", "2") as process:
        yield process


def _workers(tmp_path: Path) -> list[int]:
    found = [int(path.name) for path in (tmp_path / "workers").iterdir()]
    assert len(found) == 2
    return found


def _runs(process: int) -> bool:
    """Whether a process is there and more than its entry, which nobody took away."""
    try:
        os.kill(process, 0)
        state = Path(f"/proc/{process}/stat").read_text().rpartition(")")[2].split()[0]
    except ProcessLookupError:
        return False
    except FileNotFoundError:
        return not Path("/proc/self").exists()
    return state != "Z"


@pytest.mark.long
@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGINT])
def test_a_cancelled_build_says_so_and_leaves_all_well(begun, home, built_by_one, tmp_path, number):
    kept, workers = len(batches(home)), _workers(tmp_path)
    if number == signal.SIGINT:
        os.killpg(begun.pid, number)  # a terminal sends it to workers too
    else:
        begun.send_signal(number)
    assert begun.wait(20) == 128 + number
    said = (tmp_path / "said").read_text()
    assert said.strip().splitlines()[-1].startswith("Cancelled, and nothing is left half done")
    assert "Traceback" not in said
    assert not any(map(_runs, workers))
    assert newest(home) is None
    all_is_well(home, kept)
    goes_on_where_it_was(home, built_by_one)


@pytest.mark.long
def test_a_build_goes_on_when_a_worker_is_killed(begun, home, built_by_one, tmp_path):
    os.kill(_workers(tmp_path)[0], signal.SIGKILL)
    assert begun.wait(120) == 0, (tmp_path / "said").read_text()
    assert newest(home) is not None
    all_is_well(home, SWEEPS)
    assert check_home(home) == []
    assert same_tables(home, built_by_one)


@pytest.mark.long
def test_workers_do_not_outlive_a_build_that_is_killed(begun, home, built_by_one, tmp_path):
    kept, workers = len(batches(home)), _workers(tmp_path)
    begun.kill()
    begun.wait(20)
    wait_until(lambda: not any(map(_runs, workers)), 10)
    assert not home.is_being_built
    assert len(batches(home)) >= kept
    goes_on_where_it_was(home, built_by_one)


@pytest.mark.long
def test_a_build_tells_how_far_it_is(begun, home, tmp_path):
    told = how_far(home)
    assert told is not None
    assert (told.stage, told.total, told.unit) == ("Measuring sweeps", SWEEPS, "sweep")
    begun.terminate()
    begun.wait(20)
    assert how_far(home) is None


@pytest.mark.long
def test_tables_are_the_same_bytes_whoever_builds(home, built_by_one):
    rebuild(home, workers=Workers(2))
    assert same_tables(home, built_by_one)


def _cut_off() -> None:
    """A query that a signal cuts off, and that says so in its own way."""
    with cancellable():
        try:
            os.kill(os.getpid(), signal.SIGTERM)
            time.sleep(5)
        except CancelledError:
            raise RuntimeError("the query was cut off") from None


def _asked_twice(tidied: list[bool]) -> None:
    with cancellable():
        try:
            os.kill(os.getpid(), signal.SIGTERM)
            time.sleep(5)
        finally:
            os.kill(os.getpid(), signal.SIGTERM)
            time.sleep(0.05)
            tidied.append(True)


def test_what_fails_after_a_signal_counts_as_cancelled():
    with pytest.raises(CancelledError) as raised:
        _cut_off()
    assert raised.value.exit_code == 143


def test_a_second_signal_does_not_cut_tidying_up():
    tidied: list[bool] = []
    with pytest.raises(CancelledError):
        _asked_twice(tidied)
    assert tidied == [True]
    assert signal.getsignal(signal.SIGTERM) == signal.SIG_DFL
