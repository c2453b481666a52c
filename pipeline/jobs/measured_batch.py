"""A batch of sweeps measured: from its samples, still packed, to the files that keep its results.

What workers do of measuring: bytes in, bytes out. Nothing is opened, and DuckDB is not imported, so
that a process that only works is soon ready.
"""

from __future__ import annotations

import pandas as pd
import pyarrow as pa
from pyarrow import parquet

from models.sweeps.measure import measure_arrays
from pipeline.kept_sweeps.packed import Packed, unpacked

#: Samples as they lie, and what the bench tests say of them (CONTEXTS and the ``measure_key``).
Batch = tuple[list[Packed], pd.DataFrame]


def measured_batch(batch: Batch) -> dict[str, bytes]:
    """Each frame of ``SweepResults`` by name, with the sweeps' ``measure_key``, as Parquet."""
    files, contexts = batch
    sessions, bounds, columns = unpacked(files)
    results = measure_arrays(sessions, bounds, contexts, **columns)
    keys = dict(zip(contexts["session_id"], contexts["measure_key"], strict=True))
    return {name: _as_parquet(frame, keys) for name, frame in vars(results).items()}


def _as_parquet(frame: pd.DataFrame, keys: dict[str, str]) -> bytes:
    table = pa.Table.from_pandas(frame, preserve_index=False).replace_schema_metadata()
    named = [keys[session_id] for session_id in frame["session_id"].tolist()]
    table = table.append_column("measure_key", pa.array(named, pa.string()))
    written = pa.BufferOutputStream()
    parquet.write_table(table, written, compression="zstd", store_schema=False)
    return written.getvalue().to_pybytes()
