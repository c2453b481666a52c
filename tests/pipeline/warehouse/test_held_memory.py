"""DuckDB gives back what it has read, and goes on as before."""

import pytest

from pipeline.statements import connect
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
