"""Travel bins of the tests mapped, read some lives at a time, and rows kept by bin.

There are fifty of each test, so that neither way do all of them stand in one frame of texts.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import replace
from itertools import chain, pairwise
from typing import NamedTuple

import duckdb
import numpy as np
import pandas as pd
import pyarrow as pa

from models.frames import FrameSchema
from models.wear.exposure import BIN_PCT, BINS
from models.wear.records import WearRecords, placed_records
from models.wear.schemas import WEAR_TESTS
from pipeline.statements import statement
from pipeline.warehouse.lives import MARTS

#: Tests laid out, and travel bins read, at a time, for the memory: each time all bins are gone
#: through for those of the tests asked for.
_TESTS_LAID_OUT, _BINS_AT_ONCE = 100_000, 500_000
#: Rows whose bins are kept at a time.
_KEPT_AT_ONCE = 10_000


class MappedTests(NamedTuple):
    """All tests to be mapped, by life and time.

    ``tests`` frame of ``WEAR_TESTS``. ``keys`` digests of all that the map takes from a test but
    its sensor and bike: what its bins showed is told by the key that they were measured under.
    ``passed_turn`` place in time from 1, and 0 of a test that did not pass.
    """

    tests: pd.DataFrame
    keys: pd.Series
    passed_turn: np.ndarray


def mapped_tests(connection: duckdb.DuckDBPyConnection) -> MappedTests:
    """All tests to be mapped."""
    found = rows_of(connection, "wear_tests")
    return MappedTests(WEAR_TESTS.check(found), found["key"], found["passed_turn"].to_numpy())


def rows_of(connection: duckdb.DuckDBPyConnection, name: str) -> pd.DataFrame:
    """Rows of a statement of the marts, texts as they lie in Arrow."""
    return connection.sql(statement(f"{MARTS}/{name}")).to_arrow_table().to_pandas()


def records_by_parts(
    connection: duckdb.DuckDBPyConnection, tests: pd.DataFrame
) -> Iterator[WearRecords]:
    """Some of the mapped tests with their travel bins, whole lives at a time, in their order."""
    if not len(tests):
        return
    life = pd.factorize(tests["life_id"])[0]
    begins = np.flatnonzero(np.diff(life, prepend=-1))
    wanted = np.arange(0, len(tests), _TESTS_LAID_OUT)
    cuts = np.unique(begins[np.searchsorted(begins, wanted, side="right") - 1])
    for begin, end in pairwise([*cuts.tolist(), len(tests)]):
        some = tests.iloc[begin:end]
        yield placed_records(some, _bins(connection, some["session_id"]))


def all_records(connection: duckdb.DuckDBPyConnection, tests: pd.DataFrame) -> WearRecords:
    """All of them at once, as a fit needs them."""
    counts, exposure, roughness = (np.empty((len(tests), BINS), np.float32) for _ in range(3))
    begin = 0
    for part in records_by_parts(connection, tests):
        rows = slice(begin, begin + len(part))
        counts[rows], exposure[rows], roughness[rows] = part.counts, part.exposure, part.roughness
        begin = rows.stop
    return WearRecords(tests.reset_index(drop=True), counts, exposure, roughness)


def with_dropouts(connection: duckdb.DuckDBPyConnection, tests: pd.DataFrame) -> np.ndarray:
    """Which tests showed a drop-out where they could have, shape (n,)."""
    out = np.zeros(len(tests), dtype=bool)
    parts = list(_bins(connection, tests["session_id"], least_dropouts=1))
    if not parts:
        return out
    bins = pd.concat(parts)
    there, place = np.unique(bins["test_no"].to_numpy(), return_inverse=True)
    shown = placed_records(tests.iloc[there], [bins.assign(test_no=place)])
    out[there] = (shown.counts > 0).any(axis=1)
    return out


def _bins(
    connection: duckdb.DuckDBPyConnection, sessions: pd.Series, least_dropouts: int = 0
) -> Iterator[pd.DataFrame]:
    """Frames of ``PLACED_BINS``; until the last is taken the connection takes no other work."""
    asked = sessions.to_frame().assign(test_no=np.arange(len(sessions)))
    connection.register("laid_out_tests", pa.Table.from_pandas(asked, preserve_index=False))
    wanted = {"least_dropouts": least_dropouts}
    found = connection.sql(statement(f"{MARTS}/wear_bins"), params=wanted)
    for batch in found.to_arrow_reader(_BINS_AT_ONCE):
        yield batch.to_pandas()
    connection.unregister("laid_out_tests")


def by_bin(
    schema: FrameSchema,
    named: pd.DataFrame,
    values: Mapping[str, np.ndarray],
    same: Mapping[str, str] | None = None,
) -> pa.RecordBatchReader:
    """Rows of a schema with ``bin_from_pct``, some at a time.

    Parameters
    ----------
    schema : FrameSchema
        Its first columns are those of ``named``.
    named : frame of shape (n, ...)
        What the bins are of, n of 1 or more: texts, each of which stands there once for all bins.
    values : mapping of str to array of shape (n, BINS)
        The other columns.
    same : mapping of str to str, optional
        Texts that stand in every row, after these.
    """
    same = same or {}
    of_a_bin = replace(schema, columns=tuple(c for c in schema.columns if c.name not in named))

    def batch(some: slice) -> pa.RecordBatch:
        frame = pd.DataFrame({name: array[some].ravel() for name, array in values.items()})
        n = len(named.iloc[some])
        frame["bin_from_pct"] = np.tile(np.arange(BINS) * BIN_PCT, n)
        checked = pa.RecordBatch.from_pandas(of_a_bin.check(frame), preserve_index=False)
        place = pa.array(np.repeat(np.arange(n, dtype=np.int32), BINS))
        texts = [pa.array(named[name].iloc[some]) for name in named]
        told = [pa.DictionaryArray.from_arrays(place, text) for text in texts]
        alike = pa.array(np.zeros(n * BINS, dtype=np.int32))
        last = [pa.DictionaryArray.from_arrays(alike, pa.array([v])) for v in same.values()]
        return pa.RecordBatch.from_arrays([*told, *checked.columns, *last], names=names)

    names = [*named.columns, *of_a_bin.names, *same]
    batches = (batch(slice(k, k + _KEPT_AT_ONCE)) for k in range(0, len(named), _KEPT_AT_ONCE))
    first = next(batches)
    return pa.RecordBatchReader.from_batches(first.schema, chain([first], batches))
