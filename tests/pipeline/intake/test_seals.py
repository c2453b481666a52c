"""A seal holds as long as every byte is as it was; whatever else it is told, it says what broke."""

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.intake.seals import broken, digest_of, seal


@pytest.fixture
def sealed(tmp_path):
    files = [tmp_path / "rows.parquet", tmp_path / "sweeps" / "samples.parquet"]
    files[1].parent.mkdir()
    for file in files:
        file.write_bytes(b"as it was written")
    seal(tmp_path / "seal.json", [*files, tmp_path / "never-there"], "abc")
    return tmp_path


def test_a_whole_seal_says_nothing(sealed):
    assert broken(sealed / "seal.json", "abc") == ""


def test_each_way_to_break_it_is_named(sealed):
    assert "from another file" in broken(sealed / "seal.json", "abd")
    (sealed / "sweeps" / "samples.parquet").write_bytes(b"as it was writtem")
    assert "samples.parquet is damaged" in broken(sealed / "seal.json", "abc")
    (sealed / "rows.parquet").unlink()
    assert "rows.parquet is gone" in broken(sealed / "seal.json", "abc")
    (sealed / "seal.json").unlink()
    assert "no seal" in broken(sealed / "seal.json", "abc")


@given(text=st.one_of(st.text(), st.recursive(st.none() | st.integers(), st.lists).map(json.dumps)))
def test_whatever_stands_in_a_seal_is_told_and_never_raised(tmp_path_factory, text):
    path = tmp_path_factory.mktemp("seal") / "seal.json"
    path.write_text(text, encoding="utf-8", errors="ignore")
    assert broken(path, "abc")


def test_a_file_that_cannot_be_read_has_no_digest(tmp_path):
    assert digest_of(tmp_path) == ""
    assert digest_of(tmp_path / "nothing") == ""
