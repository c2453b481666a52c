"""Throughput and memory, beside DuckDB's own sum over the same Parquet file in the same run."""

from __future__ import annotations

import resource
import tempfile
import time
from multiprocessing import get_context
from pathlib import Path

import duckdb
import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.parquet as pq

from models.sweeps.dropouts import find_dropouts
from models.sweeps.measure import measure_read
from models.sweeps.noise import clocks, noise_sigma
from models.sweeps.report import Context
from models.sweeps.samples import read_arrays
from tests.bench.sweeps_truth import SCORE, sweeps

GROUP = 3_000_000  # about so many samples to a row group: whole sweeps


def speed(scale: float) -> None:
    """Scan, drop-out pass, and everything, on one core."""
    wanted = int(100_000_000 * scale)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "sweeps.parquet"
        total = _write(path, wanted)
        size = path.stat().st_size / total
        print(f"{total / 1e6:.1f} million samples, {size:.2f} bytes a sample in the file")
        scan = min(_scan(path) for _ in range(3))
        print(
            f"DuckDB sum(signal), one thread: {scan:.2f} s = {1e9 * scan / total:.1f} ns a sample"
        )
        for name, job in (("drop-out pass", _dropouts), ("everything", _everything)):
            with get_context("spawn").Pool(1) as fresh:  # its peak memory is this job's alone
                spent, reading, peak_mb = fresh.apply(_timed, (path, job))
            print(
                f"{name}: {spent:.2f} s = {1e9 * spent / total:.1f} ns a sample, "
                f"{spent / scan:.1f} x the scan (reading the file besides: {reading:.2f} s); "
                f"peak memory {peak_mb:.0f} MB"
            )


def _write(path: Path, wanted: int) -> int:
    """A file of whole sweeps: nine in ten healthy, one worn; 200 of them over and over."""
    source = list(sweeps("healthy", 180, 200, SCORE)) + list(sweeps("worn", 20, 200, SCORE))
    order = np.random.default_rng(SCORE).permutation(len(source))
    total = session = 0
    fields = [("session", pa.int32()), ("t_s", pa.float64()), ("signal", pa.float32())]
    with pq.ParquetWriter(path, pa.schema(fields), compression="zstd") as writer:
        while total < wanted:
            parts = []
            while sum(len(p) for p in parts) < GROUP and total < wanted:
                sweep = source[order[session % len(source)]]
                parts.append(
                    pd.DataFrame({"session": session, "t_s": sweep.t_s, "signal": sweep.signal})
                )
                total += len(sweep.t_s)
                session += 1
            table = pa.Table.from_pandas(pd.concat(parts), preserve_index=False)
            writer.write_table(table.cast(pa.schema(fields)), row_group_size=2 * GROUP)
    return total


def _scan(path: Path) -> float:
    with duckdb.connect(config={"threads": 1}) as connection:
        start = time.process_time()
        connection.execute(f"select sum(signal) from read_parquet('{path}')").fetchone()
        return time.process_time() - start


def _timed(path: Path, job) -> tuple[float, float, float]:
    """Processor time of the job over all row groups and of reading them, s; peak memory, MB."""
    spent = reading = 0.0
    file = pq.ParquetFile(path)
    for group in range(file.num_row_groups):
        start = time.process_time()
        table = file.read_row_group(group, use_threads=False)
        session = table["session"].to_numpy()
        t, signal = table["t_s"].to_numpy(), table["signal"].to_numpy()
        middle = time.process_time()
        reading += middle - start
        bounds = np.concatenate([[0], np.flatnonzero(np.diff(session)) + 1, [session.size]])
        job(bounds, t, signal)
        spent += time.process_time() - middle
    return spent, reading, _peak_mb()


def _dropouts(bounds, t, signal) -> None:
    y = signal * np.float32(20.0)
    find_dropouts(t, y, bounds, clocks(t, bounds).step_s, noise_sigma(y, bounds))


def _everything(bounds, t, signal) -> None:
    names = [f"S{i}" for i in range(bounds.size - 1)]
    context = Context("volt", 5.0, None, "potentiometer", 1, 1e5, 5e3)
    measure_read(read_arrays(names, bounds, t_s=t, signal=signal), dict.fromkeys(names, context))


def _peak_mb() -> float:
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
