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
    """Tables of ``SCHEMA``, each of whole sessions, or of a piece of a very long one."""
    sample_no = 0
    last: object = object()  # no session's name, not even a blank one
    for samples, starts in _whole_sessions(batches):
        names = samples["session_id"]
        goes_on = names[0].as_py() == last
        yield _packed(samples, starts, sample_no if goes_on else 0)
        before = sample_no if goes_on and len(starts) == 1 else 0
        last, sample_no = names[-1].as_py(), before + len(samples) - int(starts[-1])


def _whole_sessions(
    batches: Iterable[pa.RecordBatch],
) -> Iterator[tuple[pa.Table, np.ndarray]]:
    """Samples of sessions that are whole up to ``MOST_TOGETHER``, and where each begins."""
    held: list[pa.Table] = []  # of the session that the next batch may go on with
    for batch in batches:
        table = pa.Table.from_batches([batch])
        begins = _begins(table["session_id"])
        before = sum(map(len, held))
        if held and _goes_on(held[0], table):
            more = int(begins[1]) if len(begins) > 1 else len(table)
            if before + more <= MOST_TOGETHER:
                begins = begins[1:]
            else:  # a piece by itself; the next is numbered on
                yield pa.concat_tables(held), np.zeros(1, dtype=np.int64)
                held, before = [], 0
        cut = int(begins[-1]) if len(begins) else len(table)
        if len(begins):
            starts = np.append(0, begins[:-1] + before) if held else begins[:-1]
            if before + cut:
                # the first of a batch may begin where what was held ends
                yield pa.concat_tables([*held, table.slice(0, cut)]), np.unique(starts)
            held = [table.slice(cut)]
        else:
            held.append(table)
    if held:
        yield pa.concat_tables(held), np.zeros(1, dtype=np.int64)


def _begins(names: pa.ChunkedArray) -> np.ndarray:
    """Where within one batch each session begins, the first at 0."""
    codes = compute.fill_null(names.combine_chunks().dictionary_encode().indices, -1).to_numpy()
    return np.append(0, np.flatnonzero(np.diff(codes)) + 1)


def _goes_on(held: pa.Table, piece: pa.Table) -> bool:
    return held["session_id"][0].as_py() == piece["session_id"][0].as_py()


def _packed(samples: pa.Table, starts: np.ndarray, first_no: int) -> pa.Table:
    """Sessions that begin at ``starts``, the first of them with the number ``first_no``."""
    counts = np.diff(np.append(starts, len(samples)))
    number = np.arange(len(samples)) - np.repeat(starts, counts)
    number[: counts[0]] += first_no
    columns = [
        samples["session_id"],
        pa.array(number.astype(np.int32)),
        *_counts(samples["t_s"], starts, counts),
        *_counts(samples["signal"], starts, counts),
        samples["signal_b"],
        samples["travel_pct"],
    ]
    return pa.table(columns, schema=SCHEMA)


def _counts(
    values: pa.ChunkedArray, starts: np.ndarray, lengths: np.ndarray
) -> tuple[pa.Array, pa.Array, pa.Array]:
    """Counts, each session's step in millionths, and the values where a session has no step."""
    missing = compute.is_null(values).to_numpy()
    read = compute.fill_null(values, 0.0).to_numpy()
    with np.errstate(over="ignore", invalid="ignore"):  # far too large a number keeps its value
        micro = np.rint(read * 1e6)
        comes_back = (np.abs(micro) < _MOST_MICRO) & (micro / 1e6 == read)
    has_step = np.logical_and.reduceat(comes_back, starts)
    counted = np.repeat(has_step, lengths)
    whole = np.where(counted, micro, 0.0).astype(np.int64)
    step = np.repeat(np.maximum(1, np.gcd.reduceat(whole, starts)), lengths)
    return (
        pa.array(whole // step, mask=missing | ~counted),
        pa.array(step, mask=~counted),
        pa.array(read, mask=missing | counted),
    )
