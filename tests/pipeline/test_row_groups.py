"""Rows come to DuckDB in the groups that it lays down, and are the same rows."""

from itertools import pairwise

import numpy as np
import pandas as pd
import pyarrow as pa
import pytest

from pipeline import row_groups
from pipeline.row_groups import as_table, in_groups
from pipeline.statements import connect, store, store_parts


def _frame(begin: int, end: int) -> pd.DataFrame:
    numbers = np.arange(begin, end)
    said = [None if number % 7 == 3 else f"word {number // 2}" for number in numbers]
    return pd.DataFrame({"number": numbers, "word": pd.Categorical(said)})


@pytest.mark.parametrize("sizes", [[0], [3], [10], [4, 4, 4], [25, 0, 3], [9, 1], [5, 0]])
def test_rows_are_cut_into_whole_groups(monkeypatch, sizes):
    monkeypatch.setattr(row_groups, "ROWS", 5)
    ends = np.cumsum([0, *sizes])
    frames = [_frame(*bounds) for bounds in pairwise(ends)]
    tables = list(in_groups(as_table(frame) for frame in frames))
    *whole, last = [len(table) for table in tables]
    assert all(rows % 5 == 0 and rows for rows in whole)
    assert last < 5 or last % 5 == 0
    assert all(column.num_chunks <= 1 for table in tables for column in table.columns)
    found = pd.concat([table.to_pandas().astype({"word": object}) for table in tables])
    wanted = _frame(0, int(ends[-1])).astype({"word": object})
    pd.testing.assert_frame_equal(found.reset_index(drop=True), wanted)


def test_nothing_gives_nothing():
    assert list(in_groups([])) == []


def test_numbers_of_texts_are_wide_enough_for_the_texts_of_all():
    frames = [_frame(begin, begin + 200) for begin in range(0, 2_000, 200)]
    (table,) = in_groups(as_table(frame) for frame in frames)
    assert table["word"].type == pa.dictionary(pa.int32(), pa.string())
    assert len(table["word"].chunk(0).dictionary) > 127


def test_a_part_of_other_types_begins_a_group():
    plain = _frame(3, 5).astype({"word": "str"})
    found = list(in_groups(as_table(part) for part in (_frame(0, 3), plain)))
    assert [len(table) for table in found] == [3, 2]


def test_what_comes_by_and_by_is_kept_in_whole_groups():
    connection = connect()
    connection.execute("create schema marts")
    frames = [_frame(begin, begin + 50_000) for begin in range(0, 300_000, 50_000)]
    tables = [as_table(frame) for frame in frames]
    batches = [batch for table in tables for batch in table.to_batches()]
    store(connection, "read", pa.RecordBatchReader.from_batches(tables[0].schema, batches))
    store_parts(connection, "in_parts", frames)
    for name in ("read", "in_parts"):
        found = connection.execute(f"from marts.{name} order by rowid").df()
        wanted = _frame(0, 300_000)
        assert found["number"].tolist() == wanted["number"].tolist()
        assert (
            found["word"].fillna("").tolist() == wanted["word"].astype(object).fillna("").tolist()
        )
