"""The one seam through which long work is shared out: here, over processes, or behind Dask.

What is shared out is a pure function over tasks. It runs in this process, in processes of this
machine, or on the workers of a Dask scheduler, through joblib's backends; the results are the same,
byte for byte. A task whose worker died is done again, and results are handed over as they come, so
that the caller can keep them before the rest is done.
"""

from __future__ import annotations

import argparse
import os
import signal
import threading
import time
import warnings
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import CancelledError
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from dataclasses import dataclass
from importlib.util import find_spec
from typing import Any, TypeVar

from joblib import Parallel, delayed, parallel_config
from joblib.externals.loky import get_reusable_executor
from joblib.parallel import ParallelBackendBase
from threadpoolctl import threadpool_limits

from pipeline.jobs.workers_error import WorkersError

Task = TypeVar("Task")
Result = TypeVar("Result")

#: How often what is missing is begun again on fresh processes after one of them died.
FRESH_STARTS = 2
_RESUMED = "Run it again: what was kept is not done again."
#: How often a worker looks whether the process it works for is still there.
_LOOK_EVERY_S = 0.5


@dataclass(frozen=True)
class Workers:
    """Who does long work: ``count`` processes of this machine, or those behind a Dask scheduler.

    ``cluster`` is the scheduler's address; ``count`` then says nothing.
    """

    count: int = 1
    cluster: str | None = None

    @property
    def is_this_process(self) -> bool:
        """Whether nothing is shared out."""
        return self.cluster is None and self.count == 1


ONE = Workers()


def add_worker_flags(parser: argparse.ArgumentParser) -> None:
    """Give a command ``--workers`` and ``--cluster``, of which one may be chosen."""
    either = parser.add_mutually_exclusive_group()
    either.add_argument(
        "--workers",
        type=count_of,
        default=1,
        metavar="N",
        help="share long work among N processes of this machine",
    )
    either.add_argument(
        "--cluster",
        metavar="ADDRESS",
        help="share it among the workers of the Dask scheduler at this address",
    )


def chosen_workers(chosen: argparse.Namespace) -> Workers:
    """What the flags of ``add_worker_flags`` came to."""
    return Workers(chosen.workers, chosen.cluster)


def count_of(text: str) -> int:
    """A number of processes from a command's words."""
    count = int(text) if text.isdecimal() else 0
    if count < 1:
        raise argparse.ArgumentTypeError(f"{text} is no number of processes; expected 1 or more")
    return count


def as_done(
    work: Callable[[Any], Result],
    tasks: Sequence[Task],
    workers: Workers = ONE,
    *,
    load: Callable[[Task], Any] = lambda task: task,
) -> Iterator[tuple[int, Result]]:
    """Do every task; give its place and result as soon as it is done, in any order.

    Parameters
    ----------
    work : callable
        Hangs on its argument alone, and on what it encloses, which is sent along with each task.
    tasks : sequence
        What to do; small, since all of them are held.
    workers : Workers
        Who does it.
    load : callable
        Makes of a task what ``work`` is given. Runs in this process, one task at a time, only when
        that task's turn comes, so that few are in memory.

    Raises
    ------
    WorkersError
        Workers died again and again, or the cluster was lost. What was given before stands.
    Exception
        Whatever ``work`` or ``load`` raised, as it was.
    """
    if workers.is_this_process:
        for place, task in enumerate(tasks):
            loaded = load(task)
            with threadpool_limits(1):  # as in a worker: more threads would move the last digit
                result = work(loaded)
            del loaded  # before the next is loaded: each may be large
            yield place, result
        return
    missing = dict.fromkeys(range(len(tasks)))
    for fresh in range(1 + FRESH_STARTS):
        try:
            for place, result in _shared_out(work, tasks, list(missing), workers, load):
                missing.pop(place)
                yield place, result
            return
        except BrokenProcessPool as error:
            if fresh == FRESH_STARTS:
                raise WorkersError(
                    f"{len(missing):,} of {len(tasks):,} parts of the work were not done: a worker "
                    f"process was ended from outside {1 + FRESH_STARTS} times (short of memory, or "
                    f"killed). With fewer workers there is more memory for each. {_RESUMED}"
                ) from error


def in_order(
    work: Callable[[Any], Result],
    tasks: Sequence[Task],
    workers: Workers = ONE,
    *,
    load: Callable[[Task], Any] = lambda task: task,
    step: Callable[[int], object] = lambda done: None,
) -> list[Result]:
    """The results of all tasks in the tasks' order; ``step`` is told of each task done."""
    found: dict[int, Result] = {}
    for place, result in as_done(work, tasks, workers, load=load):
        found[place] = result
        step(1)
    return [found[place] for place in range(len(tasks))]


def stop_workers() -> None:
    """End the processes of this machine at once, whatever they are at."""
    get_reusable_executor(reuse=True).shutdown(wait=True, kill_workers=True)


def _shared_out(
    work: Callable[[Any], Result],
    tasks: Sequence[Task],
    places: list[int],
    workers: Workers,
    load: Callable[[Task], Any],
) -> Iterator[tuple[int, Result]]:
    failed: list[Exception] = []

    def calls() -> Iterator[Any]:
        # joblib takes tasks in a thread of its own, where an error would be lost and waited for
        for place in places:
            try:
                loaded = load(tasks[place])
            except Exception as error:
                failed.append(error)
                return
            yield delayed(_placed)(work, place, loaded)

    share = _on_this_machine(workers.count) if workers.cluster is None else _behind(workers.cluster)
    with share as settings:
        with parallel_config(**settings):
            # no memory maps: work may write to what it is given, as in this process
            parallel = Parallel(return_as="generator_unordered", batch_size=1, max_nbytes=None)
        yield from parallel(calls())
    if failed:
        raise failed[0]


def _placed(work: Callable[[Any], Result], place: int, loaded: object) -> tuple[int, Result]:
    return place, work(loaded)


@contextmanager
def _on_this_machine(count: int) -> Iterator[dict[str, Any]]:
    """Processes of this machine, each with one thread: two would take turns on one processor."""
    # one that has come to hold much is replaced between tasks, which nobody needs to be told of
    warnings.filterwarnings("ignore", message="A worker stopped while some jobs were given")
    yield {
        "backend": "loky",
        "n_jobs": count,
        "inner_max_num_threads": 1,
        "initializer": _begin_worker,
        "initargs": (os.getpid(),),
    }


def _begin_worker(works_for: int) -> None:
    """Leave Ctrl-C to the process worked for, and end with it, even where it was killed.

    A worker could wait for ever otherwise, for the rest of a task half handed over.
    """
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    if os.name != "nt":  # there a process never learns that its parent went
        threading.Thread(target=_end_with, args=(works_for,), daemon=True).start()


def _end_with(process: int) -> None:
    while os.getppid() == process:
        time.sleep(_LOOK_EVERY_S)
    os._exit(1)


@contextmanager
def _behind(address: str) -> Iterator[dict[str, Any]]:
    """Workers behind a Dask scheduler; losing it, or all of them, is told in a sentence."""
    if find_spec("distributed") is None:
        raise WorkersError(
            "Sharing work out behind Dask needs libraries that are not installed; install them "
            "once: python3 -m pipeline install-cluster"
        )
    from distributed.comm import CommClosedError
    from distributed.scheduler import KilledWorker

    from pipeline.jobs.cluster import connected, given_up_without_workers

    with connected(address) as client:
        backend = _DaskBackend(client=client)
        try:
            with given_up_without_workers(client, backend.abort_everything):
                yield {"backend": backend}
        except KilledWorker as error:
            raise WorkersError(
                "A part of the work ended each worker that was given it (short of memory, or "
                f"killed), the last {error.last_worker.address}. {_RESUMED}"
            ) from error
        except (
            CancelledError,
            CommClosedError,
        ) as error:  # as it was waited for, or asked just then
            raise WorkersError(
                f"The Dask scheduler at {address}, or every worker behind it, was lost. {_RESUMED}"
            ) from error


class _DaskBackend(ParallelBackendBase):
    """joblib's tasks handed to a Dask client.

    joblib has a backend of its own for Dask, which never hears of a task that Dask gave up, and
    waits for it for ever.
    """

    supports_retrieve_callback = True

    def __init__(self, client: Any = None, **settings: Any) -> None:
        super().__init__(**settings)
        self._client = client
        self._given: set[Any] = set()

    def effective_n_jobs(self, n_jobs: int) -> int:
        """As many as there are threads of workers."""
        return max(1, sum(self._client.nthreads().values()))

    def configure(self, n_jobs: int = 1, parallel: Any = None, **settings: Any) -> int:
        """Make ready for one call."""
        self.parallel = parallel
        return self.effective_n_jobs(n_jobs)

    def submit(self, func: Callable, callback: Callable) -> Any:
        """Hand a task over; ``callback`` hears of its end, whatever that is."""
        future = self._client.submit(func, pure=False)
        self._given.add(future)
        future.add_done_callback(callback)
        return future

    def retrieve_result_callback(self, out: Any) -> Any:
        """The result of a task that ended, or the error that it ended with."""
        self._given.discard(out)
        return out.result()

    def abort_everything(self, ensure_ready: bool = True) -> None:
        """Give up whatever was handed over and is not done."""
        self._client.cancel(list(self._given), force=True)
