"""The Parquet files that samples are kept in by shop and month: plain numbers, a sweep at a time.

``t_s`` and ``signal`` are decimals, exact to a millionth, so that any tool reads seconds and volts
(ohms, per cent) without knowing ours; a value that is no whole millionth stands in ``t_exact`` or
``signal_exact`` as well, bit for bit. A row group holds sweeps whole, one after another by their
session, so that one sweep is found by the row groups' own statistics.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Callable, Iterable, Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc
from pyarrow import parquet

MICRO = 1e6
#: Fifteen digits: every one of them comes back from a double the very same.
DECIMAL = pa.decimal128(15, 6)
_MOST_MICRO = 10**15
#: Sweeps are put into one row group until it has so many samples.
LEAST_IN_GROUP = 32_768
_ABOUT = {
    "session_id": "bench test that the sweep belongs to",
    "sample_no": "place in the order recorded, from 0",
    "t_s": "time in seconds, to a millionth",
    "signal": "reading in V, ohm or % (the test's sweep_channel), to a millionth",
    "signal_b": "second track's reading, blank without one",
    "travel_pct": "position between the stops in % of travel, blank without a channel",
    "t_exact": "time as it came where it is no whole millionth of a second, else blank",
    "signal_exact": "reading as it came where it is no whole millionth, else blank",
}
_TYPES = {
    "session_id": pa.string(),
    "sample_no": pa.int32(),
    "t_s": DECIMAL,
    "signal": DECIMAL,
}
SCHEMA = pa.schema(
    [
        pa.field(name, _TYPES.get(name, pa.float64()), metadata={"description": about})
        for name, about in _ABOUT.items()
    ]
)
_DELTAS = dict.fromkeys(("sample_no", "t_s", "signal"), "DELTA_BINARY_PACKED")
_PACKING: dict = {
    "compression": "zstd",
    "store_decimal_as_integer": True,
    "use_dictionary": ["session_id", "signal_b", "travel_pct", "signal_exact"],
    "column_encoding": {**_DELTAS, "t_exact": "BYTE_STREAM_SPLIT"},
}


def write_part(path: Path, sweeps: Iterable[pa.Table]) -> None:
    """Write whole sweeps (SCHEMA), in the order of their sessions."""
    with parquet.ParquetWriter(path, SCHEMA, **_PACKING) as writer:
        for together in _groups(sweeps):
            writer.write_table(together, row_group_size=max(1, together.num_rows))


def _groups(sweeps: Iterable[pa.Table]) -> Iterator[pa.Table]:
    held: list[pa.Table] = []
    for sweep in sweeps:
        held.append(sweep)
        if sum(table.num_rows for table in held) >= LEAST_IN_GROUP:
            yield pa.concat_tables(held)
            held = []
    if held:
        yield pa.concat_tables(held)


class Sweeps:
    """A Parquet file of samples sorted by session, open to take sweeps from one by one.

    ``source`` is a path or a file to read from; both this format and that of a hand-in's own
    samples (whole counts of a step) have the column ``session_id`` by which they are sorted.
    ``as_kept`` makes of a row group what sweeps are then taken from.
    """

    def __init__(
        self, source: Any, as_kept: Callable[[pa.Table], pa.Table] = lambda table: table
    ) -> None:
        self._as_kept = as_kept
        # from afar the columns of a row group are asked for together
        from_afar = not isinstance(source, (str, Path, pa.BufferReader))
        self._file = parquet.ParquetFile(source, pre_buffer=from_afar)
        self.about = self._file.metadata
        groups = range(self._file.num_row_groups)
        bounds = {group: _bounds_of(self.about.row_group(group)) for group in groups}
        told = {group: ends for group, ends in bounds.items() if ends is not None}
        self._told, self._untold = list(told), [group for group in groups if group not in told]
        self._low, self._high = (
            [low for low, _ in told.values()],
            [high for _, high in told.values()],
        )
        self._last: tuple[int, pa.Table, dict[str, tuple[int, int]]] | None = None

    def sweep(self, session_id: str) -> pa.Table:
        """Rows of one session as the file has them, in the order recorded; none where not there."""
        found = [self._of_group(group, session_id) for group in self.groups_of([session_id])]
        return pa.concat_tables(found) if found else self._file.schema_arrow.empty_table()

    def groups_of(self, sessions: Iterable[str]) -> list[int]:
        """Row groups that may hold these sessions, as their statistics tell."""
        found = set(self._untold)
        for session in sessions:
            begin = bisect_left(self._high, session)
            found.update(self._told[begin : bisect_right(self._low, session, lo=begin)])
        return sorted(found)

    def close(self) -> None:
        """Let the file go."""
        self._file.close(force=True)

    def _of_group(self, group: int, session_id: str) -> pa.Table:
        if self._last is None or self._last[0] != group:
            table = self._as_kept(self._file.read_row_group(group, use_threads=False))
            self._last = group, table, _places(table["session_id"])
        _, table, places = self._last
        return table.slice(*places.get(session_id, (0, 0)))


def _bounds_of(group: parquet.RowGroupMetaData) -> tuple[str, str] | None:
    statistics = group.column(0).statistics
    if statistics is None or not statistics.has_min_max:
        return None
    return statistics.min, statistics.max


def _places(sessions: pa.ChunkedArray) -> dict[str, tuple[int, int]]:
    """Where each session's rows begin, and how many there are; sorted, they stand together."""
    runs = pc.run_end_encode(sessions.combine_chunks())
    ends = runs.run_ends.to_pylist()
    begins = [0, *ends][:-1]
    counts = (end - begin for begin, end in zip(begins, ends, strict=True))
    return dict(zip(runs.values.to_pylist(), zip(begins, counts, strict=True), strict=True))


def plain(packed: pa.Table) -> pa.Table:
    """Sweeps of a hand-in's own samples (whole counts of a step) as they are kept (SCHEMA)."""
    t_s, t_exact = _decimals(packed["t_count"], packed["t_step_micro"], packed["t_exact"])
    signal, signal_exact = _decimals(
        packed["signal_count"], packed["signal_step_micro"], packed["signal_exact"]
    )
    made = {"t_s": t_s, "signal": signal, "t_exact": t_exact, "signal_exact": signal_exact}
    columns = [made[name] if name in made else packed[name] for name in SCHEMA.names]
    return pa.table(columns, schema=SCHEMA)


def _decimals(
    counts: pa.ChunkedArray, steps: pa.ChunkedArray, exact: pa.ChunkedArray
) -> tuple[pa.Array, pa.Array]:
    """Values as decimals, and those that these do not give back the very same."""
    counted = steps.is_valid().to_numpy()
    there = np.where(counted, counts.is_valid().to_numpy(), exact.is_valid().to_numpy())
    whole = counts.fill_null(0).to_numpy() * steps.fill_null(0).to_numpy()
    values = np.where(there, np.where(counted, whole / MICRO, _numbers(exact)), np.nan)
    fits = np.abs(values) < _MOST_MICRO / MICRO - 1  # never of NaN
    micro = np.rint(np.where(fits, values, 0.0) * MICRO).astype(np.int64)
    again = fits & (micro / MICRO == values)
    return _as_decimals(micro, fits), pa.array(values, mask=again | ~there)


def _as_decimals(micro: np.ndarray, there: np.ndarray) -> pa.Array:
    """Whole millionths as the decimals that Arrow keeps in two halves of 64 bits each."""
    halves = np.column_stack([micro, micro >> 63])
    valid = pa.array(there).buffers()[1]
    return pa.Array.from_buffers(DECIMAL, len(micro), [valid, pa.py_buffer(halves)])


def as_numbers(samples: pa.Table) -> pd.DataFrame:
    """Samples (SCHEMA) as they came: sample_no, t_s, signal, signal_b, travel_pct."""
    return pd.DataFrame(as_arrays(samples), copy=False)


def as_arrays(samples: pa.Table) -> dict[str, np.ndarray]:
    """The columns of :func:`as_numbers`, each by itself."""
    return {
        "sample_no": samples["sample_no"].to_numpy(),
        "t_s": _as_it_came(samples["t_s"], samples["t_exact"]),
        "signal": _as_it_came(samples["signal"], samples["signal_exact"]),
        "signal_b": _numbers(samples["signal_b"]),
        "travel_pct": _numbers(samples["travel_pct"]),
    }


def _as_it_came(decimals: pa.ChunkedArray, exact: pa.ChunkedArray) -> np.ndarray:
    # not Arrow's own cast, which multiplies by 0.000001 and misses the last bit of one in three
    whole = decimals.combine_chunks()
    low = np.frombuffer(whole.buffers()[1], dtype=np.int64)[::2] if len(whole) else np.empty(0)
    values = low[whole.offset : whole.offset + len(whole)] / MICRO
    if whole.null_count:
        values[~whole.is_valid().to_numpy(zero_copy_only=False)] = np.nan
    if exact.null_count == len(exact):
        return values
    return np.where(exact.is_valid().to_numpy(), _numbers(exact), values)


def _numbers(column: pa.ChunkedArray) -> np.ndarray:
    """Numbers, NaN where blank."""
    if column.null_count == len(column):
        return np.full(len(column), np.nan)
    return column.cast(pa.float64()).to_numpy()
