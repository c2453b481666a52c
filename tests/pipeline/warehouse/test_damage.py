"""Whether a published warehouse is whole, asked of its bytes first and of its tables if need be."""

import json

import duckdb
import pytest

from pipeline.warehouse import damage
from pipeline.warehouse.publish import draft_path, newest, passed_over, publish
from tests.pipeline.damage_done import flip_a_block_that_opening_passes_by


@pytest.fixture
def manifest(home):
    draft = draft_path(home)
    connection = duckdb.connect(str(draft))
    connection.execute(
        "create table marks as select md5(i::varchar) as mark from range(90000) t(i)"
    )
    connection.close()
    return publish(home, draft, built_at="2026-01-01", as_of="2026-01-01", kind="own", hand_in=3)


@pytest.fixture
def looked_through(monkeypatch):
    """The versions whose tables were read."""
    found = []
    look = damage.damage
    monkeypatch.setattr(damage, "damage", lambda of: found.append(of.version) or look(of))
    return found


def test_the_manifest_tells_what_the_file_hashed_to(home, manifest):
    assert newest(home) == manifest
    assert len(manifest.digest) == 64


def test_a_warehouse_as_it_was_published_is_not_read_again(home, manifest, looked_through):
    assert damage.newest_as_published(home) == manifest
    assert looked_through == []


def test_a_changed_block_is_found_though_the_warehouse_opens(home, manifest):
    flip_a_block_that_opening_passes_by(manifest)
    said = []
    assert damage.newest_as_published(home, said.append) is None
    assert list(passed_over(home)) == [manifest.version]
    assert said == ["Version 1 is damaged. A new one takes its place"]


def test_a_file_that_changed_and_can_be_read_is_not_damaged(home, manifest, looked_through):
    with manifest.path.open("ab") as file:
        file.write(b"\0")
    assert damage.newest_as_published(home) is None
    assert looked_through == [manifest.version]
    assert not passed_over(home)


def test_a_version_published_before_digests_were_taken_is_looked_through(
    home, manifest, looked_through
):
    path = home.published / "000001.json"
    card = json.loads(path.read_text())
    del card["digest"]
    path.write_text(json.dumps(card))
    assert damage.newest_as_published(home) is None
    assert looked_through == [manifest.version]
    assert newest(home).version == manifest.version
