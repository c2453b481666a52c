"""Travel bins of the tests mapped: read some at a time, and kept with what each could have shown.

There are fifty of each test, so that neither way do all of them stand in one frame of texts.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from itertools import chain

import duckdb
import numpy as np
import pandas as pd
import pyarrow as pa

from models.wear.exposure import BIN_PCT, BINS
from models.wear.records import WearRecords, placed_records
from models.wear.schemas import WEAR_TESTS
from pipeline.statements import run, statement, store
from pipeline.warehouse.lives import MARTS
from pipeline.warehouse.wear_schemas import WEAR_PROFILES

#: Travel bins read, and tests whose bins are kept, at a time, for the memory.
_BINS_AT_ONCE, _TESTS_AT_ONCE = 500_000, 10_000
#: What is kept of a bin besides its test.
_OF_A_BIN = replace(WEAR_PROFILES, columns=WEAR_PROFILES.columns[1:])


def mapped_records(connection: duckdb.DuckDBPyConnection) -> WearRecords:
    """All tests to be mapped, by life and time, with their travel bins."""
    tests = WEAR_TESTS.check(run(connection, f"{MARTS}/wear_tests").df())
    return placed_records(tests, _bins(connection, tests["session_id"]))


def _bins(connection: duckdb.DuckDBPyConnection, sessions: pd.Series) -> Iterator[pd.DataFrame]:
    """Frames of ``PLACED_BINS``; until the last is taken the connection takes no other work."""
    connection.register("mapped_tests", sessions.to_frame().assign(test_no=range(len(sessions))))
    found = connection.sql(statement(f"{MARTS}/wear_bins")).to_arrow_reader(_BINS_AT_ONCE)
    for batch in found:
        yield batch.to_pandas()
    connection.unregister("mapped_tests")


def store_profiles(connection: duckdb.DuckDBPyConnection, records: WearRecords) -> None:
    """Keep what each bin of each test could have shown and showed, as ``marts.wear_profiles``.

    ``records`` holds one test or more.
    """
    begins = range(0, len(records), _TESTS_AT_ONCE)
    batches = (_profiles(records, slice(k, k + _TESTS_AT_ONCE)) for k in begins)
    first = next(batches)
    reader = pa.RecordBatchReader.from_batches(first.schema, chain([first], batches))
    store(connection, "wear_profiles", reader)


def _profiles(records: WearRecords, some: slice) -> pa.RecordBatch:
    """Rows of ``WEAR_PROFILES`` of some tests; each session's name stands there once."""
    sessions = pa.array(records.tests["session_id"].iloc[some].to_numpy(object), pa.string())
    shown = {
        "exposure": records.exposure[some],
        "dropout_count": records.counts[some].astype(int),
        "roughness": records.roughness[some],
    }
    frame = pd.DataFrame({name: array.ravel() for name, array in shown.items()})
    frame["bin_from_pct"] = np.tile(np.arange(BINS) * BIN_PCT, len(sessions))
    batch = pa.RecordBatch.from_pandas(_OF_A_BIN.check(frame), preserve_index=False)
    place = pa.array(np.repeat(np.arange(len(sessions), dtype=np.int32), BINS))
    named = pa.DictionaryArray.from_arrays(place, sessions)
    columns = [named, *batch.columns]
    return pa.RecordBatch.from_arrays(columns, names=WEAR_PROFILES.names)
