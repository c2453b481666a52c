"""Workers behind a Dask scheduler: connected to, held to the code at hand, and set up for arrays.

Tasks and results travel as pickles between this process, scheduler and workers, so that whoever
reaches the scheduler can have the workers run anything: a cluster belongs on a network of its own,
or behind TLS by Dask's own configuration. No file is unpickled.
"""

from __future__ import annotations

import ctypes
import logging
import platform
import sys
import threading
import warnings
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from importlib.metadata import version

from distributed import Client, WorkerPlugin
from distributed.worker import Worker
from threadpoolctl import threadpool_limits

from pipeline.jobs.workers_error import WorkersError
from pipeline.warehouse.shape import current_shape

CONNECT_S = 20
#: How long work waits for a worker to come back before it is given up.
WITHOUT_WORKER_S = 30.0
_LOOK_EVERY_S = 2.0
#: Parameters of glibc's mallopt, and the most that its own dynamic thresholds come to.
_TRIM_THRESHOLD, _MMAP_THRESHOLD = -1, -3
_MMAP_BYTES = 32 << 20
_RESULTS_HANG_ON = ("numpy", "scipy", "pandas", "pyarrow", "scikit-learn")


class MadeReady(WorkerPlugin):
    """Sets up each worker, also one that comes later, and refuses one of other code."""

    name = "wear-atlas"  # a later one of the same name takes its place

    def __init__(self) -> None:
        self.made_of = made_of()

    def setup(self, worker: Worker) -> None:
        """Called by Dask in the worker; what it raises is told to whoever connects."""
        ours = made_of()
        apart = [name for name, found in self.made_of.items() if ours[name] != found]
        if apart:
            name = apart[0]
            raise RuntimeError(
                f"it has {name} {ours[name]}, and {self.made_of[name]} is at work here"
            )
        keep_freed_memory()
        self.limits = threadpool_limits(1)  # for as long as the worker lives


def made_of() -> dict[str, str]:
    """What the last digit of a result may hang on: our code, Python, and libraries by version."""
    found = {"Wear Atlas's code": current_shape(), "Python": platform.python_version()}
    return found | {name: version(name) for name in _RESULTS_HANG_ON}


def keep_freed_memory() -> None:
    """Have the allocator keep the memory of freed arrays, as it does in any other process.

    Dask starts workers with MALLOC_TRIM_THRESHOLD_=65536. Whatever value it has, glibc then no
    longer raises the size from which it maps memory anew for each array and gives it back
    after (128 KiB), and every page of every larger array is made and zeroed again. These are
    the values that glibc's own adjustment ends at. Other systems have no such setting.
    """
    if sys.platform != "linux":
        return
    with suppress(AttributeError, OSError):
        mallopt = ctypes.CDLL(None).mallopt
        mallopt(_MMAP_THRESHOLD, _MMAP_BYTES)
        mallopt(_TRIM_THRESHOLD, 2 * _MMAP_BYTES)


@contextmanager
def connected(address: str) -> Iterator[Client]:
    """A client of the scheduler, with at least one worker that is ready.

    Raises
    ------
    WorkersError
        Nothing answers there, no worker is there, or one is of other code.
    """
    for name in [*logging.root.manager.loggerDict]:
        if name.split(".")[0] == "distributed":  # what is wrong is raised
            logging.getLogger(name).setLevel(logging.CRITICAL)
    # tasks are handed over with what they work on: they are whole wherever they are done again
    warnings.filterwarnings("ignore", message="Sending large graph")
    try:
        client = Client(address, timeout=CONNECT_S, set_as_default=False)
    except (OSError, ValueError) as error:
        raise WorkersError(
            f"No Dask scheduler answers at {address} within {CONNECT_S} s ({error})."
        ) from error
    try:
        _make_ready(client, address)
        yield client
    finally:
        with suppress(Exception):  # of a scheduler that is gone
            client.close(timeout=2)


def _make_ready(client: Client, address: str) -> None:
    try:
        client.wait_for_workers(1, timeout=CONNECT_S)
    except TimeoutError as error:
        raise WorkersError(
            f"The Dask scheduler at {address} has no workers. Start some: "
            f"python3 -m pipeline cluster-worker {address}"
        ) from error
    try:
        client.register_plugin(MadeReady())
    except Exception as error:
        raise WorkersError(
            f"A worker behind {address} cannot do this work: {error}. Start workers from this "
            f"version of Wear Atlas by: python3 -m pipeline cluster-worker {address}"
        ) from error


@contextmanager
def given_up_without_workers(client: Client, give_up: Callable[[], None]) -> Iterator[None]:
    """Call ``give_up`` once there has been no worker for long; Dask itself would wait for ever."""
    over = threading.Event()

    def look() -> None:
        without_s = 0.0
        while not over.wait(_LOOK_EVERY_S):
            with suppress(Exception):  # a scheduler that is gone shows in the tasks themselves
                without_s = 0.0 if client.nthreads() else without_s + _LOOK_EVERY_S
            if without_s >= WITHOUT_WORKER_S:
                give_up()
                return

    watch = threading.Thread(target=look, daemon=True)
    watch.start()
    try:
        yield
    finally:
        over.set()
