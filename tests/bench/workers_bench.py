"""What sharing work out gains: one process, two on this machine, two behind Dask, in one run.

``.venv/bin/python -m tests.bench.workers_bench [--rounds N] [--scale S]``: sweeps are measured, fleets
fitted and scored (what looking back does), and plain arrays added, by each in turn, round by round;
the ratios are of times within a round, and their median and range are printed. Starting workers is
told apart. With Dask installed (``python3 -m pipeline install-cluster``) its workers work twice:
as we set them up, and with the setting of malloc that Dask starts them with.
"""

from __future__ import annotations

import argparse
import contextlib
import hashlib
import tempfile
import time
from collections.abc import Callable, Iterator, Sequence
from functools import partial
from importlib.util import find_spec
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
import pandas as pd

from models.sweeps.measure import measure_sweeps
from pipeline.jobs.cancel import cancellable
from pipeline.jobs.workers import ONE, Workers, in_order
from tests.bench.risk_coverage import WEARING, one_wearing
from tests.bench.sweeps_truth import SCORE, frames, in_batches, sweeps

TWO = Workers(2)
#: Asked for of two workers of this machine, and of two behind Dask, over one process.
ASKED = {"two here": 1.7, "two behind Dask": 1.5}
_AS_DASK = "two behind Dask, its malloc"


class Kind(NamedTuple):
    """One kind of work and its tasks."""

    name: str
    work: Callable[[Any], Any]
    tasks: Sequence[Any]


def measured(batch: tuple[pd.DataFrame, pd.DataFrame]) -> str:
    """A digest of what a batch's sweeps measure."""
    found = measure_sweeps(*batch)
    return _digest(found.measures.to_csv(), found.profile.to_csv(), found.dropouts.to_csv())


def fitted(seed: int) -> str:
    """A digest of a simulated fleet's chances."""
    held = one_wearing(seed, WEARING["40 bikes, weibull, clear readings"])
    return _digest(held.curve.tobytes(), repr(held.sensors), repr(held.defects))


def added(seed: int) -> str:
    """Arrays of one MB added and thrown away, where memory is the work."""
    numbers = np.random.default_rng(seed).random(1 << 17)
    total = numbers
    for _ in range(4_000):
        total = total * 0.5 + numbers
    return _digest(total.tobytes())


def _digest(*parts: str | bytes) -> str:
    whole = hashlib.sha256()
    for part in parts:
        whole.update(part if isinstance(part, bytes) else part.encode())
    return whole.hexdigest()


def _kinds(scale: float) -> list[Kind]:
    many = max(1, round(60 * scale))
    batches = [frames(batch) for batch in in_batches(sweeps("worn", 12 * many, 200, SCORE), many)]
    return [
        Kind(f"{12 * many} sweeps measured", measured, batches),
        Kind(
            f"{max(4, round(16 * scale))} fleets fitted", fitted, range(max(4, round(16 * scale)))
        ),
        Kind("arrays of 1 MB added", added, range(max(4, round(12 * scale)))),
    ]


@contextlib.contextmanager
def _teams() -> Iterator[dict[str, Callable[[Kind], list]]]:
    """Who works, by name: each does a kind of work and returns its results."""
    teams = {"one": partial(_results, ONE), "two here": partial(_results, TWO)}
    if find_spec("distributed") is None:
        print("Dask is not installed: its rows are left out (python3 -m pipeline install-cluster)")
        yield teams
        return
    from tests.pipeline.jobs.local_cluster import local_cluster

    with tempfile.TemporaryDirectory(prefix="cluster-") as folder:
        (Path(folder) / "a").mkdir()
        (Path(folder) / "b").mkdir()
        with local_cluster(Path(folder) / "a") as ours, local_cluster(Path(folder) / "b") as plain:
            for cluster in (ours, plain):
                _wait_for_two(cluster.address)
            teams["two behind Dask"] = partial(_results, Workers(cluster=ours.address))
            teams[_AS_DASK] = partial(_as_dask_starts_them, Workers(cluster=plain.address))
            yield teams


def _wait_for_two(address: str) -> None:
    from distributed import Client

    with Client(address, timeout=60) as client:
        client.wait_for_workers(2, timeout=60)


def _results(workers: Workers, kind: Kind) -> list:
    return in_order(kind.work, kind.tasks, workers)


def _as_dask_starts_them(workers: Workers, kind: Kind) -> list:
    from pipeline.jobs import cluster
    from tests.bench.as_dask_starts import AsDaskStarts

    ours, cluster.MadeReady = cluster.MadeReady, AsDaskStarts
    try:
        return _results(workers, kind)
    finally:
        cluster.MadeReady = ours


def bench(rounds: int, scale: float) -> bool:
    """Print what each gains; whether all that was asked for was reached."""
    kinds, reached = _kinds(scale), True
    with _teams() as teams:
        for kind in kinds:
            for name, team in teams.items():
                begun = time.perf_counter()
                team(Kind(kind.name, kind.work, kind.tasks[:2]))
                if name != "one" and kind is kinds[0]:
                    print(f"{name}: at work {time.perf_counter() - begun:.1f} s after being asked")
            times = [_round(kind, teams) for _ in range(rounds)]
            reached &= _told(kind, pd.DataFrame(times))
    return reached


def _round(kind: Kind, teams: dict[str, Callable[[Kind], list]]) -> dict[str, float]:
    """Seconds of each; the results must be the same bytes."""
    taken, found = {}, {}
    for name, team in teams.items():
        begun = time.perf_counter()
        found[name] = team(kind)
        taken[name] = time.perf_counter() - begun
    differing = [name for name, results in found.items() if results != found["one"]]
    if differing:
        raise SystemExit(f"{kind.name}: results differ from one process's: {differing}")
    return taken


def _told(kind: Kind, times: pd.DataFrame) -> bool:
    print(f"{kind.name}: one process {times['one'].median():.2f} s; same results from all")
    reached = True
    for name in times.columns.drop("one"):
        gains = times["one"] / times[name]
        asked = ASKED.get(name)
        said = f" (asked for {asked})" if asked else ""
        print(
            f"  {name}: {gains.median():.2f} times as fast"
            f" (rounds {gains.min():.2f} to {gains.max():.2f}){said}",
            flush=True,
        )
        reached &= asked is None or gains.median() >= asked
    return reached


def main() -> int:
    """Command line; 1 where less was gained than asked for."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--rounds", type=int, default=5)
    parser.add_argument("--scale", type=float, default=1.0)
    chosen = parser.parse_args()
    with cancellable():  # so that a cluster begun is ended, too, when this is
        return 0 if bench(chosen.rounds, chosen.scale) else 1


if __name__ == "__main__":
    raise SystemExit(main())
