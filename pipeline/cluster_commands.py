"""The commands of a Dask cluster: install what it needs, start a scheduler, start workers."""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
from importlib.util import find_spec

from pipeline.environment import CHECKOUT
from pipeline.home import HomeError
from pipeline.jobs.workers import count_of

#: Only this machine reaches it, unless another address is asked for.
LISTEN = "127.0.0.1:8786"
MOST_PORT = 65_535


def add_cluster_commands(commands: argparse._SubParsersAction) -> None:
    """Add the three commands."""
    extra = commands.add_parser(
        "install-cluster", help="install what sharing work among machines needs (once)"
    )
    extra.set_defaults(run=lambda chosen: print("What a cluster needs is installed."))
    scheduler = commands.add_parser(
        "cluster-scheduler",
        help="run a Dask scheduler until it is ended",
        description="Whoever reaches it can run anything on its workers: on a network that is "
        "not yours alone set up TLS in Dask's own configuration.",
    )
    scheduler.add_argument(
        "--listen",
        type=_host_and_port,
        default=LISTEN,
        metavar="HOST:PORT",
        help=f"by default {LISTEN}",
    )
    scheduler.set_defaults(run=_scheduler)
    worker = commands.add_parser("cluster-worker", help="run Dask workers until they are ended")
    worker.add_argument("address", metavar="ADDRESS", help="of the scheduler: HOST:PORT")
    worker.add_argument(
        "--count", type=count_of, default=1, metavar="N", help="how many, by default 1"
    )
    worker.set_defaults(run=_worker)


def _host_and_port(text: str) -> str:
    """A place to listen at; without a host Dask would listen on every network there is."""
    host, _, port = text.rpartition(":")
    if not host or not port.isdecimal() or int(port) > MOST_PORT:
        raise argparse.ArgumentTypeError(f"{text} is no HOST:PORT; expected one like {LISTEN}")
    return text


def _scheduler(chosen: argparse.Namespace) -> None:
    host, _, port = chosen.listen.rpartition(":")
    _dask("scheduler", "--host", host, "--port", port)


def _worker(chosen: argparse.Namespace) -> None:
    # a thread each: what a worker does is done by one thread wherever it is done
    _dask("worker", chosen.address, "--nthreads", "1", "--nworkers", str(chosen.count))


def _dask(kind: str, *words: str) -> None:
    """Run Dask's own command where workers find our code."""
    if find_spec("distributed") is None:
        raise HomeError("Install what it needs first: python3 -m pipeline install-cluster")
    before = os.environ.get("PYTHONPATH")
    path = CHECKOUT if not before else CHECKOUT + os.pathsep + before
    command = [sys.executable, "-m", f"distributed.cli.dask_{kind}", *words, "--no-dashboard"]
    process = subprocess.Popen(command, env=os.environ | {"PYTHONPATH": path})  # noqa: S603
    try:
        ended_with = process.wait()
    except BaseException:
        process.terminate()
        process.wait()
        raise
    if ended_with:
        raise HomeError(f"Dask's {kind} ended with code {ended_with}; it said why above.")
