import json

import duckdb

from pipeline.warehouse.publish import KEPT_VERSIONS, draft_path, newest, publish


def _publish(home, mark: str):
    draft = draft_path(home)
    connection = duckdb.connect(str(draft))
    connection.execute("create table mark as select ? as mark", [mark])
    connection.close()
    return publish(
        home, draft, built_at="2026-01-01T00:00:00+00:00", as_of="2026-01-01", kind="own", hand_in=3
    )


def _mark(path):
    connection = duckdb.connect(str(path), read_only=True)
    try:
        return connection.execute("select mark from mark").fetchone()[0]
    finally:
        connection.close()


def test_nothing_is_published_at_first(home):
    assert newest(home) is None


def test_each_version_is_a_file_of_its_own_and_a_reader_keeps_the_one_it_holds(home):
    first = _publish(home, "first")
    reader = duckdb.connect(str(first.path), read_only=True)
    second = _publish(home, "second")
    assert reader.execute("select mark from mark").fetchone() == ("first",)
    reader.close()
    assert second.path != first.path
    assert newest(home).version == second.version == 2
    assert _mark(newest(home).path) == "second"


def test_old_versions_are_tidied_away(home):
    for number in range(KEPT_VERSIONS + 2):
        _publish(home, str(number))
    assert len(list(home.published.glob("warehouse-*.duckdb"))) == KEPT_VERSIONS
    assert _mark(newest(home).path) == str(KEPT_VERSIONS + 1)


def test_a_damaged_or_lost_newest_version_is_passed_over(home):
    _publish(home, "first")
    second = _publish(home, "second")
    (home.published / "000002.json").write_text("{")
    assert _mark(newest(home).path) == "first"
    names = ("built_at", "as_of", "kind", "shape", "hand_in")
    card = {"warehouse": second.path.name, **dict.fromkeys(names, "")}
    (home.published / "000002.json").write_text(json.dumps(card))
    second.path.unlink()
    assert _mark(newest(home).path) == "first"


def test_a_build_killed_before_its_manifest_is_built_over(home):
    _publish(home, "first")
    (home.published / "warehouse-000002.duckdb").write_bytes(b"half")
    (home.published / ".draft-999999.duckdb").write_bytes(b"left over")
    assert newest(home).version == 1
    assert _mark(_publish(home, "second").path) == "second"
    assert not list(home.published.glob(".draft-*"))
