"""Throughput and memory, beside DuckDB's own sum over the same Parquet file in the same run.

The archive is written by the pipeline's own writer. Its readings are whole counts of a step, so the
sum that DuckDB is asked for is that of count times step, as the pipeline reads them back. The cost
of a scan hangs on how a file is packed; the sum over a plain column ``signal``, packed as a
dictionary, is timed beside it.

The machine may be shared: scan and job take turns, several times over, in processor time, and the
best of each, the ratio of the two and the range of the rounds' own ratios are printed.
"""

from __future__ import annotations

import resource
import tempfile
import time
from multiprocessing import get_context
from pathlib import Path

import duckdb
import numpy as np
import pandas as pd
import pyarrow.parquet as pq

from models.sweeps.dropouts import find_dropouts
from models.sweeps.measure import measure_read
from models.sweeps.noise import clocks, noise_sigma
from models.sweeps.report import Context
from models.sweeps.samples import read_arrays
from pipeline.intake import read_sweeps
from pipeline.statements import connect, run
from tests.bench.sweeps_truth import SCORE, sweeps

ROUNDS = 5
KEPT = "coalesce(signal_count * signal_step_micro / 1e6, signal_exact)"


def speed(scale: float) -> None:
    """Scan, drop-out pass, and everything, on one core."""
    with tempfile.TemporaryDirectory() as folder:
        kept, plain = Path(folder) / "kept.parquet", Path(folder) / "plain.parquet"
        samples = _write(kept, plain)
        times = max(1, round(100_000_000 * scale / samples))
        total = times * samples
        print(
            f"{total / 1e6:.1f} million samples: a file of {samples / 1e6:.1f} million {times} "
            f"times over, {kept.stat().st_size / samples:.2f} bytes a sample"
        )
        for name, job in (("drop-out pass", _dropouts), ("everything", _everything)):
            with get_context("spawn").Pool(1) as fresh:  # its peak memory is this job's alone
                rounds = [
                    (
                        _scan(kept, times, KEPT),
                        _scan(plain, times, "signal"),
                        *fresh.apply(_timed, (kept, times, job)),
                    )
                    for _ in range(ROUNDS)
                ]
            _print(name, np.array(rounds), total)


def fetch(scale: float) -> None:
    """One session's samples out of a file of many, as a bike's page asks for them."""
    with tempfile.TemporaryDirectory() as folder:
        kept, plain = Path(folder) / "kept.parquet", Path(folder) / "plain.parquet"
        samples = _write(kept, plain, copies=max(1, round(5 * scale)))
        ids = pq.read_table(kept, columns=["session_id"])["session_id"].unique().to_pylist()
        asked = np.random.default_rng(SCORE).choice(ids, min(100, len(ids)), replace=False)
        took, worked, rows = [], [], []
        with connect() as connection:
            connection.execute("set threads = 1")
            for name in asked.tolist():
                start, begun = time.perf_counter(), time.process_time()
                found = run(
                    connection,
                    "warehouse/sql/samples_of_sessions",
                    {"path": str(kept), "sessions": [name]},
                ).df()
                took.append(1000.0 * (time.perf_counter() - start))
                worked.append(1000.0 * (time.process_time() - begun))
                rows.append(len(found))
        print(
            f"one session out of {len(ids)} ({samples / 1e6:.1f} million samples, "
            f"{kept.stat().st_size / samples:.2f} bytes a sample, a plain file "
            f"{plain.stat().st_size / samples:.2f}): {np.median(rows):.0f} samples in "
            f"{np.median(took):.1f} ms, median; p95 {np.quantile(took, 0.95):.1f} ms; of processor "
            f"time {np.median(worked):.1f} ms"
        )


def _print(name: str, rounds: np.ndarray, total: int) -> None:
    """One line for each of the two scans; columns: scan, plain scan, job, reading, memory."""
    best = rounds.min(axis=0)
    print(
        f"{name}: {1e9 * best[2] / total:.1f} ns a sample (reading and unpacking the file besides: "
        f"{1e9 * best[3] / total:.1f} ns); peak memory {rounds[:, 4].max():.0f} MB"
    )
    for column, of in ((0, "the archive as kept"), (1, "a plain column signal")):
        ratios = rounds[:, 2] / rounds[:, column]
        print(
            f"    {best[2] / best[column]:.1f} x DuckDB's sum over {of}, one thread, "
            f"{1e9 * best[column] / total:.1f} ns a sample "
            f"(rounds {ratios.min():.1f} to {ratios.max():.1f})"
        )


def _write(kept: Path, plain: Path, copies: int = 1) -> int:
    """Whole sweeps, nine in ten healthy, one worn, as the pipeline keeps them and plainly.

    Copies stand under session names of their own.
    """
    source = list(sweeps("healthy", 360, 200, SCORE)) + list(sweeps("worn", 40, 200, SCORE))
    order = np.random.default_rng(SCORE).permutation(len(source))
    handed = pd.concat([source[i].frame(f"S{n:06d}") for n, i in enumerate(order)])
    with duckdb.connect() as connection:
        connection.register("handed", handed)
        connection.execute(
            "create temp table samples as select handed.* replace (copy || session_id as session_id) "
            f"from range({copies}) as copies(copy), handed"
        )
        read_sweeps._keep_samples(connection, kept)
    repeated = pd.concat([handed[["session_id", "t_s", "signal"]]] * copies)
    repeated.to_parquet(
        plain, index=False, compression="zstd", row_group_size=read_sweeps.ROW_GROUP_SAMPLES
    )
    return copies * len(handed)


def _scan(path: Path, times: int, column: str) -> float:
    """Processor time of the sum, s."""
    with duckdb.connect(config={"threads": 1}) as connection:
        start = time.process_time()
        connection.execute(
            f"select sum({column}) from read_parquet($paths)", {"paths": [str(path)] * times}
        ).fetchone()
        return time.process_time() - start


def _timed(path: Path, times: int, job) -> tuple[float, float, float]:
    """Processor time of the job over the file so many times, of reading it, s; peak memory, MB."""
    spent = reading = 0.0
    for _ in range(times):
        start = time.process_time()
        bounds, t, signal = _read(path)
        middle = time.process_time()
        job(bounds, t, signal)
        reading, spent = reading + middle - start, spent + time.process_time() - middle
    return spent, reading, _peak_mb()


def _peak_mb() -> float:
    """Peak memory of this process alone, MB.

    Linux's ``ru_maxrss`` also remembers the process that started this one, so its own high-water
    mark is read where it is told.
    """
    status = Path("/proc/self/status")
    if status.exists():
        line = next(row for row in status.read_text().splitlines() if row.startswith("VmHWM"))
        return int(line.split()[1]) / 1024
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def _read(path: Path) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    names = ["session_id", "t_count", "t_step_micro", "signal_count", "signal_step_micro"]
    table = pq.read_table(path, columns=names, read_dictionary=["session_id"], use_threads=False)
    session = table["session_id"].unify_dictionaries().combine_chunks().indices.to_numpy()
    t, signal = (
        table[f"{name}_count"].to_numpy() * table[f"{name}_step_micro"].to_numpy() / 1e6
        for name in ("t", "signal")
    )
    return np.concatenate([[0], np.flatnonzero(np.diff(session)) + 1, [session.size]]), t, signal


def _dropouts(bounds, t, signal) -> None:
    y = (signal * 20.0).astype(np.float32)
    find_dropouts(t, y, bounds, clocks(t, bounds).step_s, noise_sigma(y, bounds))


def _everything(bounds, t, signal) -> None:
    names = [f"S{i}" for i in range(bounds.size - 1)]
    context = Context("volt", 5.0, None, "potentiometer", 1, 1e5, 5e3)
    measure_read(read_arrays(names, bounds, t_s=t, signal=signal), dict.fromkeys(names, context))
