"""Statements that go by parts, and versions held open, which may also not be there."""

import duckdb
import pytest

from pipeline import statements
from pipeline.statements import connect, held_open, store_selected


def test_what_is_selected_by_parts_is_kept_once(monkeypatch):
    text = (
        "-- grain: one number\nselect n, $more as more from range(10) r(n) where n % $parts = $part"
    )
    monkeypatch.setattr(statements, "statement", {"numbers": text}.__getitem__)
    with connect() as connection:
        store_selected(connection, "kept", "numbers", {"more": 2}, parts=4)
        assert connection.execute("from kept order by n").fetchall() == [(n, 2) for n in range(10)]


def test_a_statement_that_needs_more_memory_is_named(monkeypatch):
    text = "select list(n order by -n) from range(50_000_000) r(n) where n % $parts >= $part"
    monkeypatch.setattr(statements, "statement", {"wide": text}.__getitem__)
    with connect() as connection:
        connection.execute("set memory_limit = '20MB'")
        with pytest.raises(duckdb.OutOfMemoryException) as raised:
            store_selected(connection, "kept", "wide", {}, parts=2)
    assert raised.value.__notes__ == ["wide.sql"]


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
