"""DuckDB gives back what it has read, and goes on as before."""

import sys

import numpy as np
import pytest

from pipeline.statements import connect
from pipeline.warehouse import held_memory
from pipeline.warehouse.held_memory import let_go

ROWS = 2_000_000


def _held(connection) -> int:
    asked = "select sum(memory_usage_bytes)::bigint from duckdb_memory()"
    return connection.execute(asked).fetchall()[0][0]


@pytest.fixture
def connection(tmp_path):
    path = tmp_path / "some.duckdb"
    with connect(path) as filled:
        filled.execute(f"create table numbers as select hash(range) as n from range({ROWS})")
    with connect(path) as opened:
        opened.execute("set memory_limit = '600 MiB'")
        opened.execute("select sum(n) from numbers").fetchall()
        yield opened


def test_what_can_be_read_again_is_given_back(connection):
    connection.execute("create temp table made as from numbers limit 100_000")
    before = _held(connection)
    assert before > 10 << 20
    let_go(connection, 4 << 20)
    assert _held(connection) <= 4 << 20
    told = connection.execute("select current_setting('memory_limit')").fetchall()
    assert told == [("600.0 MiB",)]
    counted = "select count(*), (select count(*) from made) from numbers"
    assert connection.execute(counted).fetchall() == [(ROWS, 100_000)]


@pytest.mark.parametrize("limit", ["1 GiB", "1234567890 bytes"])
def test_a_limit_that_cannot_be_put_back_as_it_is_stays(connection, limit):
    connection.execute(f"set memory_limit = '{limit}'")
    told = connection.execute("select current_setting('memory_limit')").fetchall()
    before = _held(connection)
    let_go(connection, 4 << 20)
    assert _held(connection) == before
    assert connection.execute("select current_setting('memory_limit')").fetchall() == told


def test_little_is_kept(connection):
    before = _held(connection)
    let_go(connection, 1 << 30)
    assert _held(connection) == before


def test_what_cannot_be_given_back_stays(connection):
    reading = connection.cursor()
    reader = reading.sql("from numbers").to_arrow_reader(1_000)
    reader.read_next_batch()
    let_go(connection, 1)
    assert sum(len(batch) for batch in reader) == ROWS - 1_000
    reading.close()
    told = connection.execute("select current_setting('memory_limit')").fetchall()
    assert told == [("600.0 MiB",)]


@pytest.mark.skipif(sys.platform != "linux", reason="asked of Linux alone")
def test_freed_memory_between_arrays_that_stand_is_given_back(connection, monkeypatch):
    small = [np.ones(4_000) for _ in range(8_000)]  # 32 kB each, below what is mapped by itself
    standing, full = small[::50], held_memory._resident_bytes()
    del small
    monkeypatch.setattr(held_memory, "FREED_FROM_BYTES", 1 << 50)
    let_go(connection)  # a process that small keeps it
    assert held_memory._resident_bytes() > full - (64 << 20)
    monkeypatch.setattr(held_memory, "FREED_FROM_BYTES", 0)
    let_go(connection)
    assert held_memory._resident_bytes() < full - (128 << 20)
    assert sum(map(len, standing)) == 160 * 4_000
