"""Rows of numbers by the digest of a sensor's state, kept beside the fit and read some at a time.

They are kept in single precision, in which they are handed out from the first.

A file holds as many numbers a sensor as there are fits and km ahead, so that a large home's is
never held in memory whole but once: as the result.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.parquet as pq

from pipeline.warehouse.kept_fit import file_digest, keep_card, kept_card

_FRAME = "rows"
_KEY = ["key", "other_key"]
#: Rows written and read at a time.
_ROWS_AT_ONCE = 2_000


class KeptStates:
    """Rows kept under a name, by keys of shape (n, 2).

    Raises
    ------
    OSError, ValueError
        The file is not as it was written.
    """

    def __init__(self, path: Path, digest: str):
        if file_digest(path) != digest:
            raise ValueError(f"{path.name} is not as it was written")
        self._file = pq.ParquetFile(path)
        names = self._file.schema_arrow.names
        self._values = [name for name in names if name not in _KEY]
        keys = self._file.read(_KEY)
        self._keys = pd.MultiIndex.from_arrays([keys.column(name).to_numpy() for name in _KEY])
        self.width = len(self._values)

    def places(self, keys: np.ndarray) -> np.ndarray:
        """Place of each key among the rows, -1 where it is not there."""
        return self._keys.get_indexer(pd.MultiIndex.from_arrays([keys[:, 0], keys[:, 1]]))

    def fill(self, result: np.ndarray, place: np.ndarray) -> None:
        """Put the rows that stand at ``place``, of shape (n,), into an array of shape (n, width).

        Those at -1 are left as they are.
        """
        begin = 0
        for group in range(self._file.num_row_groups):
            rows = self._file.read_row_group(group, self._values)
            own = np.flatnonzero((place >= begin) & (place < begin + len(rows)))
            if len(own):
                values = np.column_stack([column.to_numpy() for column in rows.columns])
                result[own] = values[place[own] - begin]
            begin += len(rows)

    def close(self) -> None:
        """Let go of the file, which on some systems cannot be replaced before."""
        self._file.close()


def kept_states(folder: Path, name: str, rests_on: str) -> KeptStates | None:
    """The rows kept under a name, if they are whole and were made from the same; else None."""
    try:
        digests = kept_card(folder, name, rests_on)
        return None if digests is None else KeptStates(_path(folder, name), digests[_FRAME])
    except (OSError, ValueError, KeyError, TypeError, AttributeError):
        return None


def keep_states(
    folder: Path, name: str, keys: np.ndarray, values: np.ndarray, rests_on: str
) -> None:
    """Keep rows under a name; of rows with equal keys the first.

    Raises
    ------
    OSError
        The folder cannot be written.
    """
    with keep_card(folder, name, rests_on) as digests:
        path = _path(folder, name)
        draft = path.with_name(f".{path.stem}.draft")
        named = [*_KEY, *(f"value_{k}" for k in range(values.shape[1]))]
        types = [pa.uint64()] * len(_KEY) + [pa.float32()] * values.shape[1]
        schema = pa.schema(list(zip(named, types, strict=True)))
        with pq.ParquetWriter(draft, schema, use_dictionary=False) as writer:
            for some in _parts(keys):
                columns = [*keys[some].T, *np.ascontiguousarray(values[some].T)]
                writer.write_table(pa.table(list(map(pa.array, columns)), schema=schema))
        digests[_FRAME] = file_digest(draft)
        draft.replace(path)


def _parts(keys: np.ndarray) -> Iterator[np.ndarray]:
    """Places of different keys, some at a time; at least once."""
    own = np.flatnonzero(~pd.DataFrame(keys).duplicated().to_numpy())
    for begin in range(0, max(len(own), 1), _ROWS_AT_ONCE):
        yield own[begin : begin + _ROWS_AT_ONCE]


def _path(folder: Path, name: str) -> Path:
    return folder / f"{name}_{_FRAME}.parquet"
