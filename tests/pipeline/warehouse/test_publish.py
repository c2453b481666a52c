import json

import duckdb
import pytest

from pipeline.warehouse.publish import (
    KEPT_VERSIONS,
    draft_path,
    mark_damaged,
    newest,
    no_draft_left,
    passed_over,
    publish,
    published,
)


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
    beside = home.published / ".draft-999999.duckdb.tmp"  # what there was no memory for
    beside.mkdir()
    (beside / "duckdb_temp_storage_DEFAULT-0.tmp").write_bytes(b"left over")
    assert newest(home).version == 1
    assert _mark(_publish(home, "second").path) == "second"
    assert not list(home.published.glob(".draft-*"))


def test_a_version_marked_as_damaged_is_passed_over_until_a_newer_one_takes_it_away(home):
    _publish(home, "first")
    mark_damaged(home, _publish(home, "second"), "block 3 cannot be read")
    assert _mark(newest(home).path) == "first"
    assert passed_over(home) == {2: "its warehouse published/warehouse-000002.duckdb is damaged"}
    assert (home.published / "000002.damaged").read_text() == "block 3 cannot be read\n"
    assert _publish(home, "third").version == 3
    assert [manifest.version for manifest in published(home)] == [3, 1]
    assert not list(home.published.glob("*.damaged"))
    assert passed_over(home) == {}


def test_a_mark_left_by_itself_never_condemns_a_new_version(home):
    mark_damaged(home, _publish(home, "first"), "cut short")
    (home.published / "000001.json").unlink()
    assert _mark(_publish(home, "again").path) == "again"
    assert newest(home).version == 1


def test_damaged_versions_push_no_good_one_out(home):
    for number in range(KEPT_VERSIONS):
        _publish(home, str(number))
    for version in range(2, 2 + KEPT_VERSIONS):
        mark = home.published / f"{version:06d}.json"
        mark.write_text("{")
    _publish(home, "last")
    assert {manifest.version for manifest in published(home)} == {1, KEPT_VERSIONS + 2}


def _fails_half_way(home):
    with no_draft_left(home):
        draft = draft_path(home)
        draft.write_bytes(b"half")
        draft.with_name(f"{draft.name}.tmp").mkdir()
        raise OSError("full")


def test_a_build_that_fails_leaves_no_draft(home):
    with pytest.raises(OSError, match="full"):
        _fails_half_way(home)
    assert list(home.published.iterdir()) == []
