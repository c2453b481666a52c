"""The one seam through which long work is shared out: in this process, or over several.

What is shared out is a pure function over tasks. It runs in this process or in processes of this
machine, through joblib's backends; the results are the same, byte for byte. A task whose worker
died is done again, and results are handed over as they come, so that the caller can keep them
before the rest is done.
"""

from __future__ import annotations

import argparse
import os
import signal
import threading
import time
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures.process import BrokenProcessPool
from contextlib import AbstractContextManager, contextmanager
from dataclasses import dataclass
from typing import Any, TypeVar

from joblib import Parallel, delayed, parallel_config
from joblib.externals.loky import get_reusable_executor
from threadpoolctl import threadpool_limits

from pipeline.home import HomeError

Task = TypeVar("Task")
Result = TypeVar("Result")

#: How often what is missing is begun again on fresh processes after one of them died.
FRESH_STARTS = 2
#: How often a worker looks whether the process it works for is still there.
_LOOK_EVERY_S = 0.5


class WorkersError(HomeError):
    """Work could not be shared out to its end; the message says why and what to do."""


@dataclass(frozen=True)
class Workers:
    """Who does long work: ``count`` processes of this machine."""

    count: int = 1

    @property
    def is_this_process(self) -> bool:
        """Whether nothing is shared out."""
        return self.count == 1


ONE = Workers()


def add_worker_flags(parser: argparse.ArgumentParser) -> None:
    """Give a command ``--workers``."""
    parser.add_argument(
        "--workers",
        type=_count,
        default=1,
        metavar="N",
        help="share long work among N processes of this machine",
    )


def chosen_workers(chosen: argparse.Namespace) -> Workers:
    """What the flags of ``add_worker_flags`` came to."""
    return Workers(chosen.workers)


def _count(text: str) -> int:
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
        A function of a module (so that a worker finds it) that hangs on its argument alone.
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
        Workers died again and again. What was given before stands.
    Exception
        Whatever ``work`` or ``load`` raised, as it was.
    """
    if workers.is_this_process:
        for place, task in enumerate(tasks):
            loaded = load(task)
            with threadpool_limits(1):  # as in a worker: more threads would move the last digit
                result = work(loaded)
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
                    "killed). Try again with fewer workers; what was kept is not done again."
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

    with _backend(workers) as settings:
        with parallel_config(**settings):
            # no memory maps: work may write to what it is given, as in this process
            parallel = Parallel(return_as="generator_unordered", batch_size=1, max_nbytes=None)
        yield from parallel(calls())
    if failed:
        raise failed[0]


def _placed(work: Callable[[Any], Result], place: int, loaded: object) -> tuple[int, Result]:
    return place, work(loaded)


def _backend(workers: Workers) -> AbstractContextManager[dict[str, Any]]:
    return _processes(workers.count)


@contextmanager
def _processes(count: int) -> Iterator[dict[str, Any]]:
    """Processes of this machine, each with one thread: two would take turns on one processor."""
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
