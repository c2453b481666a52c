"""Samples as whole counts of the session's own step, where that is exact, about a byte each.

A logger's times and a converter's readings are multiples of a step. Counts of it pack to a fraction
of the bytes, and count x step / 1,000,000 gives the very same number back; a session in which one
value would not come back the same keeps its numbers as they are.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from pathlib import Path

import numpy as np
import pyarrow as pa
from pyarrow import compute, parquet

#: Few enough that one sweep is taken out by itself without reading many others.
ROW_GROUP_SAMPLES = 16_384
#: A session longer than this is packed piece by piece, each with a step of its own.
MOST_TOGETHER = 4_194_304
SCHEMA = pa.schema(
    [
        ("session_id", pa.string()),
        ("sample_no", pa.int32()),
        ("t_count", pa.int64()),
        ("t_step_micro", pa.int64()),
        ("t_exact", pa.float64()),
        ("signal_count", pa.int64()),
        ("signal_step_micro", pa.int64()),
        ("signal_exact", pa.float64()),
        ("signal_b", pa.float64()),
        ("travel_pct", pa.float64()),
    ]
)
_DELTAS = dict.fromkeys(("sample_no", "t_count", "signal_count"), "DELTA_BINARY_PACKED")
_PACKING: dict = {
    "compression": "zstd",
    "use_dictionary": [
        "session_id",
        "t_step_micro",
        "signal_step_micro",
        "signal_exact",
        "signal_b",
        "travel_pct",
    ],
    "column_encoding": {**_DELTAS, "t_exact": "BYTE_STREAM_SPLIT"},
}
#: Beyond this, doubles do not tell neighbouring whole numbers apart.
_MOST_MICRO = 2.0**53


def write_packed(batches: Iterable[pa.RecordBatch], path: Path) -> None:
    """Write samples to ``path``, a row group at a time, under a draft's name until it is whole.

    ``batches`` have session_id, t_s, signal, signal_b and travel_pct; a session's samples stand
    together, in the order recorded.
    """
    draft = path.with_suffix(".draft")
    with parquet.ParquetWriter(draft, SCHEMA, **_PACKING) as writer:
        waiting: list[pa.Table] = []
        count = 0
        for table in packed_sessions(batches):
            waiting.append(table)
            count += len(table)
            while count >= ROW_GROUP_SAMPLES:
                joined = pa.concat_tables(waiting)
                writer.write_table(joined.slice(0, ROW_GROUP_SAMPLES))
                waiting, count = [joined.slice(ROW_GROUP_SAMPLES)], count - ROW_GROUP_SAMPLES
        if count:
            writer.write_table(pa.concat_tables(waiting))
    draft.replace(path)


def packed_sessions(batches: Iterable[pa.RecordBatch]) -> Iterator[pa.Table]:
    """One table of ``SCHEMA`` a session, or a piece of a very long one."""
    sample_no = 0
    last: object = object()  # no session's name, not even a blank one
    for samples in _sessions(batches):
        session_id = samples["session_id"][0].as_py()
        sample_no = sample_no if session_id == last else 0
        yield _packed(samples, sample_no)
        last, sample_no = session_id, sample_no + len(samples)


def _sessions(batches: Iterable[pa.RecordBatch]) -> Iterator[pa.Table]:
    """Each session's samples, whole up to ``MOST_TOGETHER``."""
    held: list[pa.Table] = []
    for batch in batches:
        table = pa.Table.from_batches([batch])
        ends = [*_ends(table["session_id"]), len(table)]
        for start, end in zip([0, *ends], ends, strict=False):
            piece = table.slice(start, end - start)
            if held and not _goes_on(held, piece):
                yield pa.concat_tables(held)
                held = []
            held.append(piece)
    if held:
        yield pa.concat_tables(held)


def _ends(names: pa.ChunkedArray) -> list[int]:
    """Where within one batch the session changes."""
    codes = compute.fill_null(names.combine_chunks().dictionary_encode().indices, -1).to_numpy()
    return (np.flatnonzero(np.diff(codes)) + 1).tolist()


def _goes_on(held: list[pa.Table], piece: pa.Table) -> bool:
    same = held[0]["session_id"][0].as_py() == piece["session_id"][0].as_py()
    return same and sum(map(len, held)) + len(piece) <= MOST_TOGETHER


def _packed(samples: pa.Table, first_no: int) -> pa.Table:
    n = len(samples)
    columns = [
        samples["session_id"],
        pa.array(np.arange(first_no, first_no + n, dtype=np.int32)),
        *_counts(samples["t_s"]),
        *_counts(samples["signal"]),
        samples["signal_b"],
        samples["travel_pct"],
    ]
    return pa.table(columns, schema=SCHEMA)


def _counts(values: pa.ChunkedArray) -> tuple[pa.Array, pa.Array, pa.Array]:
    """Counts, their step in millionths, and the values themselves where there is no step."""
    n = len(values)
    missing = compute.is_null(values).to_numpy()
    read = compute.fill_null(values, 0.0).to_numpy()
    with np.errstate(over="ignore"):  # far too large a number keeps its value
        micro = np.rint(read * 1e6)
    if not (np.all(np.abs(micro) < _MOST_MICRO) and np.array_equal(micro / 1e6, read)):
        return pa.nulls(n, pa.int64()), pa.nulls(n, pa.int64()), values.combine_chunks()
    whole = micro.astype(np.int64)
    step = max(1, int(np.gcd.reduce(whole)))
    counts = pa.array(whole // step, mask=missing)
    return counts, pa.array(np.full(n, step)), pa.nulls(n, pa.float64())
