"""Samples are kept as plain numbers that any tool reads, and come back bit for bit."""

import math

import duckdb
import numpy as np
import pandas as pd
import pyarrow as pa
import pytest
from hypothesis import given
from hypothesis import strategies as st
from pyarrow import parquet

from pipeline.kept_sweeps.part_format import (
    LEAST_IN_GROUP,
    SCHEMA,
    Sweeps,
    as_numbers,
    plain,
    write_part,
)

NUMBERS = st.one_of(
    st.none(),
    st.floats(allow_nan=True, allow_infinity=True),
    st.decimals(-(10**9), 10**9, places=6).map(float),
    st.sampled_from([0.0, 999_999_999.999999, 1e9, -1e9, 2.0**53, 1e-7, 4.55125]),
)


def _exact(session: str, t_s, signal) -> pa.Table:
    """One sweep as a hand-in's own samples where nothing is a whole count."""
    count = len(t_s)
    blank = pa.nulls(count, pa.int64())
    return pa.table(
        {
            "session_id": [session] * count,
            "sample_no": pa.array(range(count), pa.int32()),
            "t_count": blank,
            "t_step_micro": blank,
            "t_exact": pa.array(t_s, pa.float64(), from_pandas=False),
            "signal_count": blank,
            "signal_step_micro": blank,
            "signal_exact": pa.array(signal, pa.float64(), from_pandas=False),
            "signal_b": pa.nulls(count, pa.float64()),
            "travel_pct": pa.nulls(count, pa.float64()),
        }
    )


def _counted(session: str, counts, step_micro: int) -> pa.Table:
    """One sweep as whole counts, a sample each millisecond."""
    count = len(counts)
    times = {"t_count": range(count), "t_step_micro": [1000] * count}
    signals = {"signal_count": counts, "signal_step_micro": [step_micro] * count}
    exact = _exact(session, [None] * count, [None] * count)
    for name, values in (times | signals).items():
        place = exact.schema.get_field_index(name)
        exact = exact.set_column(place, name, pa.array(values, pa.int64()))
    return exact


def _same(found, wanted) -> bool:
    return found == wanted or (math.isnan(found) and (wanted is None or math.isnan(wanted)))


@given(st.lists(st.tuples(NUMBERS, NUMBERS), min_size=1, max_size=8))
def test_any_numbers_come_back_the_same(tmp_path_factory, values):
    path = tmp_path_factory.mktemp("any") / "part.parquet"
    t_s, signal = zip(*values, strict=True)
    write_part(path, [plain(_exact("T1", t_s, signal))])
    found = as_numbers(Sweeps(path).sweep("T1"))
    assert list(found["sample_no"]) == list(range(len(values)))
    for name, wanted in (("t_s", t_s), ("signal", signal)):
        assert all(map(_same, found[name], wanted))


@given(
    st.lists(st.one_of(st.none(), st.integers(-(10**6), 10**6)), min_size=1, max_size=20),
    st.integers(1, 10**6),
)
def test_counts_of_a_step_are_kept_as_plain_decimals_alone(counts, step_micro):
    kept = plain(_counted("T1", counts, step_micro))
    assert kept["t_exact"].null_count == kept["signal_exact"].null_count == len(counts)
    wanted = [None if count is None else count * step_micro / 1e6 for count in counts]
    assert all(map(_same, as_numbers(kept)["signal"], wanted))


@pytest.fixture
def part(tmp_path):
    volts = np.round(2.5 - 2 * np.cos(np.arange(20_000) / 500), 4)
    counts = np.rint(volts * 10_000).astype(int)
    sessions = [f"T{number}" for number in range(1, 6)]
    write_part(tmp_path / "part.parquet", [plain(_counted(s, counts, 100)) for s in sessions])
    return tmp_path / "part.parquet", volts


def test_any_tool_reads_seconds_and_volts_in_place(part):
    path, volts = part
    by_duckdb = duckdb.execute(
        "select t_s::double, signal::double from read_parquet(?) where session_id = 'T3' "
        "order by sample_no",
        [str(path)],
    ).fetchnumpy()
    t_s, signal = by_duckdb.values()
    np.testing.assert_array_equal(t_s, np.arange(20_000) / 1000)
    np.testing.assert_array_equal(signal, volts)
    by_pandas = pd.read_parquet(path, filters=[("session_id", "==", "T3")])
    np.testing.assert_array_equal(by_pandas["signal"].astype(float), volts)
    described = {field.name: field.metadata[b"description"] for field in parquet.read_schema(path)}
    assert list(described) == SCHEMA.names


def test_a_sweep_is_found_by_the_statistics_of_few_row_groups(part):
    path, _ = part
    groups = parquet.ParquetFile(path).metadata
    assert groups.num_row_groups == 3
    assert groups.row_group(0).num_rows >= LEAST_IN_GROUP
    sweeps = Sweeps(path)
    assert sweeps.sweep("T5").num_rows == 20_000
    assert sweeps.sweep("T9").num_rows == sweeps.sweep("A").num_rows == 0
    assert as_numbers(sweeps.sweep("A")).empty


def test_row_groups_of_blank_sessions_are_looked_through_too(tmp_path):
    """They have no statistics, so that only looking tells what they hold."""
    path = tmp_path / "some.parquet"
    names = pa.array(["A"] * 3 + ["C"] * 3 + [None] * 3, pa.string())
    parquet.write_table(pa.table({"session_id": names}), path, row_group_size=3)
    sweeps = Sweeps(path)
    assert [sweeps.groups_of([name]) for name in ("A", "B", "C")] == [[0, 2], [2], [1, 2]]
    assert sweeps.groups_of(["A", "C"]) == [0, 1, 2]
    assert [sweeps.sweep(name).num_rows for name in ("A", "B", "C")] == [3, 0, 3]


def test_a_sample_takes_little_room(part):
    path, _ = part
    assert path.stat().st_size / 100_000 < 2


def test_none_at_all_is_an_empty_file(tmp_path):
    write_part(tmp_path / "none.parquet", [])
    assert parquet.read_table(tmp_path / "none.parquet").schema.equals(SCHEMA)
