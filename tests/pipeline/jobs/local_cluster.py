"""A Dask scheduler and its workers as processes of this machine, for tests and benchmarks."""

from __future__ import annotations

import os
import signal
import socket
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from pathlib import Path

from pipeline.environment import CHECKOUT


@dataclass
class Cluster:
    """The scheduler's address, and its processes; each is the leader of a group of its own."""

    address: str
    logs: Path
    scheduler: subprocess.Popen
    workers: list[subprocess.Popen] = field(default_factory=list)

    def add_worker(self, command: tuple[str, ...] = (), **env: str) -> subprocess.Popen:
        """One more, by our own command or by another."""
        words = command or (sys.executable, "-m", "pipeline", "cluster-worker", self.address)
        worker = _begun(words, self.logs / f"worker-{len(self.workers)}.log", env)
        self.workers.append(worker)
        return worker


@contextmanager
def local_cluster(folder: Path, workers: int = 2) -> Iterator[Cluster]:
    """A scheduler that only this machine reaches, with workers; all are ended when left."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        address = "127.0.0.1:{1}".format(*probe.getsockname())
    words = (sys.executable, "-m", "pipeline", "cluster-scheduler", "--listen", address)
    cluster = Cluster(address, folder, _begun(words, folder / "scheduler.log", {}))
    try:
        for _ in range(workers):
            cluster.add_worker()
        yield cluster
    finally:
        for process in (*cluster.workers, cluster.scheduler):
            end(process)


def end(process: subprocess.Popen) -> None:
    """End a process and whatever it began, at once, as a machine that loses power does."""
    with suppress(ProcessLookupError):
        os.killpg(process.pid, signal.SIGKILL)
    process.wait()


def _begun(words: tuple[str, ...], log: Path, env: dict[str, str]) -> subprocess.Popen:
    return subprocess.Popen(
        words,
        cwd=CHECKOUT,
        env=os.environ | {"PYTHONPATH": CHECKOUT} | env,
        stdout=log.open("w"),
        stderr=subprocess.STDOUT,
        start_new_session=True,
    )
