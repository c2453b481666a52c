from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import duckdb
import pytest

from pipeline.access import kept_open
from pipeline.access.kept_open import LEAST_BYTES, MOST, UNREAD_S, bound_memory, opened
from pipeline.statements import connect


@pytest.fixture(autouse=True)
def nothing_kept(monkeypatch):
    monkeypatch.setattr(kept_open, "_KEPT", {})


def warehouse(path: Path, value: int) -> Path:
    """A file that holds one number."""
    path.unlink(missing_ok=True)
    connection = connect(path)
    connection.execute(f"create table told as select {value} as value")
    connection.close()
    return path


class Opening:
    """Opens a warehouse, and counts how often."""

    def __init__(self, path: Path) -> None:
        self.path, self.count = path, 0

    def __call__(self) -> duckdb.DuckDBPyConnection:
        self.count += 1
        return connect(self.path, read_only=True)


def value(connection: duckdb.DuckDBPyConnection) -> int:
    ((found,),) = connection.execute("select value from told").fetchall()
    return found


def test_a_second_reading_opens_nothing(tmp_path):
    opening = Opening(warehouse(tmp_path / "w-1.duckdb", 1))
    for _ in range(3):
        with opened(opening.path, "all", opening) as connection:
            assert value(connection) == 1
    assert opening.count == 1


def test_each_reading_has_a_connection_of_its_own(tmp_path):
    opening = Opening(warehouse(tmp_path / "w-1.duckdb", 1))
    first, second = (opened(opening.path, "all", opening) for _ in range(2))
    first.execute("create temp table own as select 7 as x")
    with pytest.raises(duckdb.CatalogException):
        second.execute("from own")
    first.close()
    assert value(second) == 1
    zone = second.execute("select current_setting('TimeZone')").fetchall()
    assert zone == [("UTC",)]


def test_who_sees_less_never_gets_what_was_opened_for_another(tmp_path):
    path = warehouse(tmp_path / "w-1.duckdb", 1)

    def narrow() -> duckdb.DuckDBPyConnection:
        connection = connect()
        connection.execute("create table told as select -1 as value")
        return connection

    assert value(opened(path, "all", Opening(path))) == 1
    assert value(opened(path, ("technician", frozenset({"a"})), narrow)) == -1
    assert value(opened(path, "all", Opening(path))) == 1


def test_another_file_of_the_same_name_is_read_anew(tmp_path):
    path = warehouse(tmp_path / "w-1.duckdb", 1)
    opened(path, "all", Opening(path)).close()
    warehouse(tmp_path / "other.duckdb", 2).replace(path)
    assert value(opened(path, "all", Opening(path))) == 2


def test_older_versions_are_let_go(tmp_path):
    old = warehouse(tmp_path / "w-1.duckdb", 1)
    reader = opened(old, "all", Opening(old))
    new = warehouse(tmp_path / "w-2.duckdb", 2)
    assert value(opened(new, "all", Opening(new))) == 2
    assert [path for path, _ in kept_open._KEPT] == [new]
    assert value(reader) == 1  # whoever reads the old one reads on


def test_not_more_are_kept_than_allowed(tmp_path):
    opening = Opening(warehouse(tmp_path / "w-1.duckdb", 1))
    for number in range(MOST + 3):
        opened(opening.path, number, opening)
    assert len(kept_open._KEPT) == MOST
    assert value(opened(opening.path, MOST + 2, opening)) == 1
    assert opening.count == MOST + 3


def test_what_nobody_read_for_long_is_let_go(tmp_path, monkeypatch):
    opening = Opening(warehouse(tmp_path / "w-1.duckdb", 1))
    now = 1_000.0
    monkeypatch.setattr(kept_open.time, "monotonic", lambda: now)
    reader = opened(opening.path, "a", opening)
    opened(opening.path, "b", opening).close()
    now += UNREAD_S - 1
    opened(opening.path, "b", opening).close()
    assert [key for _, key in kept_open._KEPT] == ["a", "b"]
    now += 2
    opened(opening.path, "b", opening).close()
    assert [key for _, key in kept_open._KEPT] == ["b"]
    assert value(reader) == 1  # whoever still reads it reads on
    assert opening.count == 2


@pytest.mark.parametrize(
    ("file_bytes", "most_bytes"), [(10, LEAST_BYTES), (6 * LEAST_BYTES, 3 * LEAST_BYTES)]
)
def test_each_has_a_bound_of_memory_that_grows_with_its_file(tmp_path, file_bytes, most_bytes):
    path = tmp_path / "w-1.duckdb"
    with path.open("wb") as file:
        file.truncate(file_bytes)
    connection = connect()
    bound_memory(connection, path)
    ((told,),) = connection.execute("select current_setting('memory_limit')").fetchall()
    amount, unit = told.split()
    assert float(amount) * {"MiB": 2**20, "GiB": 2**30}[unit] == pytest.approx(most_bytes, rel=0.1)


def test_a_version_that_is_gone_is_told(tmp_path):
    with pytest.raises(OSError, match="w-9"):
        opened(tmp_path / "w-9.duckdb", "all", Opening(tmp_path / "w-9.duckdb"))


def test_many_threads_read_at_once(tmp_path):
    opening = Opening(warehouse(tmp_path / "w-1.duckdb", 5))

    def read(_: int) -> int:
        with opened(opening.path, "all", opening) as connection:
            return value(connection)

    with ThreadPoolExecutor(8) as threads:
        assert set(threads.map(read, range(64))) == {5}
    assert opening.count == 1
