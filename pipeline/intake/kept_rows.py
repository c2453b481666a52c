"""Write the rows read of one file as Parquet: the good cells of each as a map.

DuckDB looks for names that stand twice in every map that it makes, which takes longer than reading
the file. Here they come from a header that names no column twice.
"""

from __future__ import annotations

from pathlib import Path

import duckdb
import numpy as np
import pyarrow as pa
from pyarrow import parquet

from pipeline.statements import one_row, run, statement

_ROWS_AT_ONCE = 122_880
_KEY = "cells.key_value.key"
#: A hash cannot be packed, and nobody seeks rows of these files by their values.
_PACKING = {
    "use_dictionary": [_KEY],
    "compression": {
        **dict.fromkeys(("line", "row_key", "row_count", "broken"), "snappy"),
        **dict.fromkeys((_KEY, "cells.key_value.value"), "snappy"),
        "row_hash": "none",
    },
    "write_statistics": False,
    "store_schema": False,
}
SCHEMA = pa.schema(
    [
        ("line", pa.int64()),
        ("row_key", pa.string()),
        ("row_hash", pa.string()),
        ("cells", pa.map_(pa.dictionary(pa.int16(), pa.string()), pa.string())),
        ("row_count", pa.int64()),
        ("broken", pa.bool_()),
    ]
)


def write_rows(connection: duckdb.DuckDBPyConnection, path: Path) -> None:
    """Write ``listed_rows``, a stretch at a time; ``read_columns`` names the columns."""
    (names,) = one_row(run(connection, "intake/sql/read/read_columns"))
    listed = connection.sql(statement("intake/sql/read/listed_rows"))
    with parquet.ParquetWriter(path, SCHEMA, **_PACKING) as writer:
        for batch in listed.to_arrow_reader(_ROWS_AT_ONCE):
            writer.write_batch(with_cells(batch, names))


def with_cells(batch: pa.RecordBatch, names: list[str]) -> pa.RecordBatch:
    """A batch with a map of ``cells`` in place of the list of ``texts``, one for each name."""
    cells = maps_of(batch.column("texts"), names)
    columns = [cells if name == "cells" else batch.column(name) for name in SCHEMA.names]
    return pa.record_batch(columns, schema=SCHEMA)


def maps_of(lists: pa.ListArray, names: list[str]) -> pa.MapArray:
    """Maps from names to the texts in lists of one length, nulls left out."""
    texts = lists.flatten()
    filled = texts.is_valid().to_numpy(zero_copy_only=False).reshape(len(lists), len(names))
    numbers = np.broadcast_to(np.arange(len(names), dtype=np.int16), filled.shape)[filled]
    ends = np.concatenate([[0], np.cumsum(filled.sum(axis=1))])
    keys = pa.DictionaryArray.from_arrays(pa.array(numbers), pa.array(names, pa.string()))
    return pa.MapArray.from_arrays(pa.array(ends, pa.int32()), keys, texts.drop_null())
