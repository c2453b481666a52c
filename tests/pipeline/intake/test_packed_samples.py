"""Samples packed as whole counts: what is read back is what was recorded, however it came."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
import pyarrow as pa
import pytest
from hypothesis import given
from hypothesis import strategies as st
from pyarrow import parquet

from pipeline.intake import packed_samples
from pipeline.intake.packed_samples import ROW_GROUP_SAMPLES as FULL
from pipeline.intake.packed_samples import packed_sessions, write_packed

HANDED = pa.schema(
    [
        ("session_id", pa.string()),
        ("t_s", pa.float64()),
        ("signal", pa.float64()),
        ("signal_b", pa.float64()),
        ("travel_pct", pa.float64()),
    ]
)


def _samples(names: list[str | None], signal: list[float | None]) -> pa.Table:
    n = len(names)
    blank = [None] * n
    return pa.table([names, [k / 200 for k in range(n)], signal, blank, blank], schema=HANDED)


def _values(table: pa.Table, name: str) -> list[float | None]:
    kind = name.removesuffix("_s")
    rows = table.select([f"{kind}_count", f"{kind}_step_micro", f"{kind}_exact"]).to_pylist()
    return [
        exact if count is None else count * step / 1e6
        for count, step, exact in (row.values() for row in rows)
    ]


def _by_session(packed: Iterable[pa.Table]) -> list[pa.Table]:
    """Each session's rows, wherever the tables were cut."""
    whole = pa.concat_tables(packed)
    begins = [row for row, no in enumerate(whole["sample_no"].to_pylist()) if no == 0]
    ends = [*begins[1:], len(whole)]
    return [whole.slice(begin, end - begin) for begin, end in zip(begins, ends, strict=True)]


def test_a_session_cut_by_batches_has_one_step_and_runs_on():
    names = ["A"] * 5 + ["B"] * 4
    signal = [0.0, 1.25, 2.5, 3.75, 5.0, 0.3, 0.6, 0.9, 1.2]
    packed = _by_session(packed_sessions(_samples(names, signal).to_batches(max_chunksize=2)))
    assert [len(table) for table in packed] == [5, 4]
    assert [set(table["signal_step_micro"].to_pylist()) for table in packed] == [
        {1_250_000},
        {300_000},
    ]
    assert packed[0]["sample_no"].to_pylist() == [0, 1, 2, 3, 4]
    assert packed[0]["t_step_micro"][0].as_py() == 5_000


def test_a_value_off_any_step_keeps_its_session_as_it_is_and_no_other():
    table = _samples(["A", "A", "B", "B"], [1.0, 1 / 3, 1.0, 2.0])
    off, on = _by_session(packed_sessions(table.to_batches()))
    assert off["signal_exact"].to_pylist() == [1.0, 1 / 3]
    assert off["signal_count"].null_count == 2
    assert on["signal_exact"].null_count == 2
    assert on["signal_count"].to_pylist() == [1, 2]


def test_a_very_long_session_is_packed_in_pieces_that_are_numbered_on(monkeypatch):
    monkeypatch.setattr(packed_samples, "MOST_TOGETHER", 4)
    pieces = list(
        packed_sessions(_samples(["A"] * 10, list(range(10))).to_batches(max_chunksize=2))
    )
    assert [len(piece) for piece in pieces] == [4, 4, 2]
    assert pa.concat_tables(pieces)["sample_no"].to_pylist() == list(range(10))


@pytest.mark.parametrize("size", [1, 2, 3, 4, 5, 7, 16])
def test_samples_of_long_sessions_are_numbered_on_wherever_others_begin(monkeypatch, size):
    monkeypatch.setattr(packed_samples, "MOST_TOGETHER", 4)
    lengths = {"A": 10, "B": 3, "C": 9, "D": 1}
    names = [name for name, length in lengths.items() for _ in range(length)]
    table = _samples(names, list(range(len(names))))
    packed = pa.concat_tables(packed_sessions(table.to_batches(max_chunksize=size)))
    assert packed["session_id"].to_pylist() == names
    expected = [k for length in lengths.values() for k in range(length)]
    assert packed["sample_no"].to_pylist() == expected
    assert _values(packed, "signal") == list(range(len(names)))


@given(
    signal=st.lists(st.none() | st.floats(allow_nan=False), min_size=1, max_size=30),
    session=st.sampled_from([None, "A"]),
    size=st.integers(1, 7),
)
def test_whatever_number_comes_back_the_same(signal, session, size):
    table = _samples([session] * len(signal), signal)
    (packed,) = packed_sessions(table.to_batches(max_chunksize=size))
    assert _values(packed, "signal") == signal
    assert _values(packed, "t_s") == table["t_s"].to_pylist()


@given(
    sessions=st.lists(
        st.lists(
            st.none() | st.sampled_from([0.25, 0.5, 1 / 3, 1e300, -0.0]) | st.floats(-5, 5),
            min_size=1,
            max_size=6,
        ),
        min_size=1,
        max_size=6,
    ),
    size=st.integers(1, 9),
)
def test_sessions_are_packed_together_as_they_are_alone(sessions, size):
    """Whatever lies beside a session, and wherever batches are cut."""
    names = [f"S{k}" for k, signal in enumerate(sessions) for _ in signal]
    table = _samples(names, [value for signal in sessions for value in signal])
    together = _by_session(packed_sessions(table.to_batches(max_chunksize=size)))
    assert len(together) == len(sessions)
    for k, packed in enumerate(together):
        rows = [row for row, name in enumerate(names) if name == f"S{k}"]
        (alone,) = packed_sessions(table.take(rows).to_batches())
        assert packed.to_pylist() == alone.to_pylist()


@pytest.mark.parametrize("sizes", [[FULL * 2 + 1], [1, FULL, FULL - 2, 2], []])
def test_row_groups_are_full_but_the_last_and_no_draft_stays(tmp_path, sizes):
    names = [name for name, size in enumerate(sizes) for _ in range(size)]
    table = _samples([f"S{name:03d}" for name in names], np.zeros(len(names)).tolist())
    write_packed(table.to_batches(max_chunksize=100_000), tmp_path / "kept.parquet")
    found = parquet.ParquetFile(tmp_path / "kept.parquet")
    groups = [found.metadata.row_group(k).num_rows for k in range(found.num_row_groups)]
    assert sum(groups) == len(names)
    assert all(size == FULL for size in groups[:-1])
    assert found.read()["session_id"].to_pylist() == table["session_id"].to_pylist()
    assert [path.name for path in tmp_path.iterdir()] == ["kept.parquet"]
