"""A version held open is one that others go on opening; one that cannot be opened is no matter."""

import duckdb
import pytest

from pipeline.statements import connect, held_open


def test_what_is_held_open_can_be_opened_and_is_let_go_after(tmp_path):
    path = tmp_path / "published.duckdb"
    with connect(path) as connection:
        connection.execute("create table held as select 7 as seven")
    with held_open(path), connect(path, read_only=True) as connection:
        assert connection.execute("from held").fetchall() == [(7,)]
    with connect(path) as connection:  # to write, which a reader left open would refuse
        connection.execute("drop table held")


def test_where_it_cannot_be_opened_whoever_needs_it_finds_out(tmp_path):
    path = tmp_path / "published.duckdb"
    path.write_bytes(b"no warehouse")
    with held_open(path), pytest.raises(duckdb.Error):
        connect(path, read_only=True)
