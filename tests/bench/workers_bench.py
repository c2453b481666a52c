"""What sharing work out gains: one process, two on this machine, two behind Dask, in one run.

``.venv/bin/python -m tests.bench.workers_bench [--rounds N] [--scale S]``: all sweeps of a home are
measured, from reading what is kept of them to keeping the results (the whole stage of a build), fleets
fitted and scored (what looking back does), plain arrays added, and tasks done that are nothing, by each
in turn, round by round, each beside one process; the ratios are of times within a round, and their
median and range are printed.
Starting workers is told apart, and so is the first time that they do a kind of work and import what it
takes. With Dask installed (``python3 -m pipeline install-cluster``) its workers work twice: as we set
them up, and with the setting of malloc that Dask starts them with.
"""

from __future__ import annotations

import argparse
import contextlib
import hashlib
import tempfile
import time
from collections.abc import Callable, Iterator, Mapping
from functools import partial
from importlib.util import find_spec
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
import pandas as pd

from pipeline.jobs.cancel import cancellable
from pipeline.jobs.workers import ONE, Workers, in_order, stop_workers
from tests.bench.measuring_home import MeasuringHome
from tests.bench.risk_coverage import WEARING, one_wearing

TWO = Workers(2)
#: Asked for of two workers of this machine, and of two behind Dask, over one process.
ASKED = {"two here": 1.7, "two behind Dask": 1.5}
_AS_DASK = "two behind Dask, its malloc"
#: Tasks that are nothing, by which the bare cost of handing one over is told.
FEW_HUNDRED = 300
#: Sweeps measured: some ten seconds of one process: what a build has that is worth sharing out.
MEASURED = 4_800


class Kind(NamedTuple):
    """One kind of work, which gives the same whoever does it."""

    name: str
    done_by: Callable[[Workers], Any]


Team = Callable[[Kind], Any]


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


def _kinds(scale: float, home: MeasuringHome) -> list[Kind]:
    fleets, arrays = max(4, round(16 * scale)), max(4, round(12 * scale))
    return [
        Kind(f"{home.size.tests} sweeps measured", home.measured_again),
        Kind(f"{fleets} fleets fitted", partial(in_order, fitted, range(fleets))),
        Kind("arrays of 1 MB added", partial(in_order, added, range(arrays))),
    ]


@contextlib.contextmanager
def _cluster() -> Iterator[Workers]:
    """Two workers behind Dask."""
    from tests.pipeline.jobs.local_cluster import local_cluster

    with (
        tempfile.TemporaryDirectory(prefix="cluster-") as folder,
        local_cluster(Path(folder)) as cluster,
    ):
        _wait_for_two(cluster.address)
        yield Workers(cluster=cluster.address)


def _wait_for_two(address: str) -> None:
    from distributed import Client

    with Client(address, timeout=300) as client:
        client.wait_for_workers(2, timeout=300)


def _by(workers: Workers, kind: Kind) -> Any:
    return kind.done_by(workers)


def _as_dask_starts_them(workers: Workers, kind: Kind) -> Any:
    from pipeline.jobs import cluster
    from tests.bench.as_dask_starts import AsDaskStarts

    ours, cluster.MadeReady = cluster.MadeReady, AsDaskStarts
    try:
        return _by(workers, kind)
    finally:
        cluster.MadeReady = ours


def bench(rounds: int, scale: float) -> bool:
    """Print what each gains; whether all that was asked for was reached.

    One after the other, each beside one process: even idle, a cluster takes a twentieth of two
    processors.
    """
    with _measuring_home(round(MEASURED * scale)) as home:
        how = (_kinds(scale, home), rounds)
        reached = _compared("two here", partial(_by, TWO), *how)
        if find_spec("distributed") is None:
            print("Dask is not installed: it is left out (python3 -m pipeline install-cluster)")
            return reached
        stop_workers()
        for name, team in (("two behind Dask", _by), (_AS_DASK, _as_dask_starts_them)):
            with _cluster() as cluster:
                reached &= _compared(name, partial(team, cluster), *how)
    return reached


def _compared(name: str, team: Team, kinds: list[Kind], rounds: int) -> bool:
    teams = {"one": partial(_by, ONE), name: team}
    begun = _round(Kind("nothing", partial(in_order, abs, range(2))), teams)
    print("at work, seconds after being asked:", _seconds(begun))
    bare = _round(Kind("nothing", partial(in_order, abs, range(FEW_HUNDRED))), teams)
    print(f"a task that is nothing, ms: {_seconds(bare, 1000 / FEW_HUNDRED)}")
    reached = True
    for kind in kinds:
        first = _round(kind, teams)
        times = pd.DataFrame([_round(kind, teams) for _ in range(rounds)])
        reached &= _told(kind, times)
        print(f"  the first time, seconds more: {_seconds(pd.Series(first) - times.median())}")
    return reached


@contextlib.contextmanager
def _measuring_home(sweeps: int) -> Iterator[MeasuringHome]:
    with tempfile.TemporaryDirectory(prefix="measuring-") as folder:
        home = MeasuringHome(Path(folder), sweeps)
        try:
            yield home
        finally:
            home.close()


def _seconds(times: Mapping[str, float], scale: float = 1.0) -> str:
    return ", ".join(f"{name} {taken * scale:.2f}" for name, taken in times.items())


def _round(kind: Kind, teams: dict[str, Team]) -> dict[str, float]:
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
    (name,) = times.columns.drop("one")
    gains, asked = times["one"] / times[name], ASKED.get(name)
    said = f" (asked for {asked})" if asked else ""
    print(
        f"  {name}: {gains.median():.2f} times as fast"
        f" (rounds {gains.min():.2f} to {gains.max():.2f}){said}",
        flush=True,
    )
    return asked is None or bool(gains.median() >= asked)


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
