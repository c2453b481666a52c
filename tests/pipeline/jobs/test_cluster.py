"""Work shared out behind Dask: the same results, whatever becomes of workers and scheduler."""

from __future__ import annotations

import os
import shutil
import signal
import sys
import threading
import time

import pytest

pytest.importorskip("distributed", reason="the extra pipeline/requirements-cluster.txt")

from pipeline.home import Home
from pipeline.jobs import cluster as cluster_module
from pipeline.jobs.cluster import connected, made_of
from pipeline.jobs.ingest import rebuild
from pipeline.jobs.measure import batches
from pipeline.jobs.workers import Workers, as_done, in_order
from pipeline.jobs.workers_error import WorkersError
from pipeline.warehouse.publish import newest
from tests.pipeline.jobs import shared_work
from tests.pipeline.jobs.interrupted import (
    all_is_well,
    build_begun,
    goes_on_where_it_was,
    same_tables,
)
from tests.pipeline.jobs.local_cluster import end, local_cluster

pytestmark = [
    pytest.mark.long,
    pytest.mark.skipif(os.name == "nt", reason="signals to processes of their own"),
]


@pytest.fixture(scope="module")
def shared_cluster(tmp_path_factory):
    """Two workers that no test harms for good."""
    with local_cluster(tmp_path_factory.mktemp("cluster")) as made:
        with connected(made.address) as client:
            client.wait_for_workers(2, timeout=60)
        yield made


@pytest.fixture
def workers(shared_cluster) -> Workers:
    return Workers(cluster=shared_cluster.address)


@pytest.fixture
def cluster(tmp_path):
    """Two workers to harm."""
    with local_cluster(tmp_path) as made:
        with connected(made.address) as client:
            client.wait_for_workers(2, timeout=60)
        yield made


def _later(seconds: float, harm, *on: object) -> threading.Timer:
    timer = threading.Timer(seconds, harm, on)
    timer.daemon = True
    timer.start()
    return timer


def test_results_are_those_of_this_process_byte_for_byte_and_in_order(workers):
    alone = in_order(shared_work.least_squares, range(6))
    shared = in_order(shared_work.least_squares, range(6), workers)
    assert [one.tobytes() for one in alone] == [one.tobytes() for one in shared]


def test_two_processes_do_it_and_neither_is_this_one(workers):
    found = set(in_order(shared_work.its_process, range(40), workers))
    assert len(found) == 2
    assert os.getpid() not in found


def test_an_error_of_the_work_or_of_loading_comes_as_it_was(workers):
    with pytest.raises(ValueError, match="two is not liked"):
        in_order(shared_work.refuses, range(5), workers)
    with pytest.raises(ValueError, match="two is not liked"):
        in_order(shared_work.squared, range(30), workers, load=shared_work.refuses)
    assert in_order(shared_work.squared, range(3), workers) == [0, 1, 4]


def test_a_task_whose_worker_was_killed_is_done_again(workers, tmp_path):
    tasks = [(str(tmp_path / "killed"), number) for number in range(8)]
    assert in_order(shared_work.killed_once, tasks, workers) == [n * n for n in range(8)]
    assert (tmp_path / "killed").exists()


def test_a_task_that_ends_each_worker_ends_the_work_with_a_message(cluster):
    with pytest.raises(WorkersError, match="ended each worker that was given it"):
        in_order(shared_work.always_killed, range(8), Workers(cluster=cluster.address))


def test_a_worker_that_is_gone_for_good_leaves_its_work_to_the_other(cluster):
    _later(1.0, end, cluster.workers[0])
    done = in_order(shared_work.slow, range(10), Workers(cluster=cluster.address))
    assert done == list(range(10))


def test_a_lost_scheduler_ends_the_work_with_a_message_and_what_was_given_stands(cluster):
    given: list[int] = []
    _later(1.7, end, cluster.scheduler)
    done = as_done(shared_work.slow, range(60), Workers(cluster=cluster.address))
    with pytest.raises(WorkersError, match=f"scheduler at {cluster.address}.* was lost"):
        given.extend(place for place, _ in done)
    assert 0 < len(given) < 60


def test_work_left_without_workers_is_given_up_with_a_message(cluster, monkeypatch):
    monkeypatch.setattr(cluster_module, "WITHOUT_WORKER_S", 4.0)
    for worker in cluster.workers:
        _later(1.0, end, worker)
    begun = time.monotonic()
    with pytest.raises(WorkersError, match="every worker behind it, was lost"):
        in_order(shared_work.slow, range(60), Workers(cluster=cluster.address))
    assert time.monotonic() - begun < 60


def test_a_slow_node_holds_up_no_more_than_what_it_was_given(cluster):
    with connected(cluster.address) as client:
        slow, fast = client.run(os.getpid).values()
    found: list[int] = []
    for _, process in as_done(shared_work.its_process, range(60), Workers(cluster=cluster.address)):
        found.append(process)
        if len(found) == 10:
            os.kill(slow, signal.SIGSTOP)
            woken = _later(120.0, os.kill, slow, signal.SIGCONT)  # lest the test wait for ever
        elif len(found) == 50:
            os.kill(slow, signal.SIGCONT)
            woken.cancel()
    assert len(found) == 60
    # what it had sent before it stopped may still be on its way
    assert found[10:50].count(fast) >= 38


def test_where_no_scheduler_answers_or_it_has_no_workers_that_is_said(tmp_path, monkeypatch):
    monkeypatch.setattr(cluster_module, "CONNECT_S", 2)
    with pytest.raises(
        WorkersError, match=r"No Dask scheduler answers at 127\.0\.0\.1:9 within 2 s"
    ):
        in_order(shared_work.squared, range(3), Workers(cluster="127.0.0.1:9"))
    with pytest.raises(WorkersError, match="No Dask scheduler answers at nowhere:at:all"):
        in_order(shared_work.squared, range(3), Workers(cluster="nowhere:at:all"))
    monkeypatch.setattr(cluster_module, "CONNECT_S", 10)
    with (
        local_cluster(tmp_path, workers=0) as empty,
        pytest.raises(WorkersError, match=r"has no workers.*pipeline cluster-worker"),
    ):
        in_order(shared_work.squared, range(3), Workers(cluster=empty.address))


def test_a_worker_of_other_code_is_refused_by_what_differs(workers, monkeypatch):
    other = made_of() | {"numpy": "1.0"}
    monkeypatch.setattr(cluster_module, "made_of", lambda: other)
    with pytest.raises(WorkersError, match=r"it has numpy \d.* and 1\.0 is at work here"):
        in_order(shared_work.squared, range(3), workers)


def _mapped(bytes_each: int) -> int:
    """Page faults of the second array and on: few where freed memory is kept."""
    import resource

    import numpy as np

    for _ in range(3):
        np.ones(bytes_each // 8).sum()
    before = resource.getrusage(resource.RUSAGE_SELF).ru_minflt
    for _ in range(20):
        np.ones(bytes_each // 8).sum()
    return resource.getrusage(resource.RUSAGE_SELF).ru_minflt - before


@pytest.mark.skipif(sys.platform != "linux", reason="glibc's allocator")
def test_dask_s_setting_of_malloc_is_undone_in_each_worker_also_one_that_comes_later(tmp_path):
    from distributed import Client

    with local_cluster(tmp_path, workers=1) as made, Client(made.address) as plain:
        plain.wait_for_workers(1, timeout=60)
        ((untouched),) = plain.submit(lambda: [_mapped(1 << 20)], pure=False).result()
        with connected(made.address):
            dask = (sys.executable, "-m", "distributed.cli.dask_worker", made.address)
            made.add_worker((*dask, "--nthreads", "1", "--no-dashboard"))
            plain.wait_for_workers(2, timeout=60)
            faults = [
                plain.submit(_mapped, 1 << 20, workers=[one], pure=False).result()
                for one in plain.nthreads()
            ]
    assert untouched > 20 * 200  # each array's 256 pages anew
    assert len(faults) == 2
    assert max(faults) < 20 * 20


@pytest.fixture
def home(handed_in, tmp_path) -> Home:
    shutil.copytree(handed_in.root, tmp_path / "home")
    return Home(tmp_path / "home")


def test_tables_of_a_build_are_the_same_bytes(shared_cluster, home, built_by_one):
    rebuild(home, workers=Workers(cluster=shared_cluster.address))
    assert same_tables(home, built_by_one)


def test_a_build_whose_scheduler_is_lost_says_so_and_goes_on_later(
    cluster, home, built_by_one, tmp_path
):
    with build_begun(home, tmp_path, "--cluster", cluster.address) as build:
        kept = len(batches(home))
        end(cluster.scheduler)
        assert build.wait(60) == 1
    said = (tmp_path / "said").read_text()
    assert said.strip().splitlines()[-1].startswith(f"The Dask scheduler at {cluster.address}")
    assert "Traceback" not in said
    assert newest(home) is None
    all_is_well(home, kept)
    goes_on_where_it_was(home, built_by_one)
