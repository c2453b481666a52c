"""Two thousand files as nobody should hand them in; tests.bench.fuzz_bench goes on from there."""

from __future__ import annotations

import pytest

from pipeline.home import Home
from pipeline.intake.receive import handed_files, receive
from pipeline.intake.settle import read_all, settle
from pipeline.statements import connect
from tests.fuzz import other_inputs
from tests.fuzz.made_files import MadeFile, made_file
from tests.fuzz.reading import amiss
from tests.pipeline.shop_files import NOW

TABLE_FILES, OTHER_FILES, MORE_TABLE_FILES = 250, 1_750, 2_000


@pytest.fixture(scope="module")
def connection():
    """One connection for all files, as a hand-in has."""
    opened = connect()
    opened.execute("set threads = 1")
    yield opened
    opened.close()


def _tables_amiss(connection, folder, seeds: range) -> dict[int, list[str]]:
    found = {seed: amiss(connection, made_file(seed), folder) for seed in seeds}
    return {seed: said for seed, said in found.items() if said}


def test_files_of_every_table_are_read_or_refused_and_no_row_is_lost(connection, tmp_path):
    assert _tables_amiss(connection, tmp_path, range(TABLE_FILES)) == {}


@pytest.mark.long
def test_so_are_two_thousand_more(connection, tmp_path):
    seeds = range(TABLE_FILES, TABLE_FILES + MORE_TABLE_FILES)
    assert _tables_amiss(connection, tmp_path, seeds) == {}


def test_whatever_else_comes_as_text_is_read_or_refused_in_its_own_words(home):
    found = {seed: other_inputs.amiss(seed, home) for seed in range(OTHER_FILES)}
    assert {seed: said for seed, said in found.items() if said} == {}


def test_each_file_of_a_hand_in_is_accounted_for_to_the_row(home, tmp_path):
    folder = tmp_path / "in"
    folder.mkdir()
    made = [made_file(seed) for seed in range(5_000, 5_040)]
    for file in made:
        (folder / file.name).write_bytes(file.content)
    receive(home, [folder], NOW)
    counted = _accounted(home)
    assert len(counted) == len(made)
    for file in made:
        read, accepted, aside, whole = counted[file.name]
        assert read == accepted + aside, file.name
        if file.records is not None and not whole:
            assert read == file.records, file.name


def _accounted(home: Home) -> dict[str, tuple[int, int, int, bool]]:
    """By file: rows handed in, accepted and set aside, and whether it was set aside whole."""
    connection = connect()
    settle(connection, home, read_all(connection, home))
    rows = connection.execute(
        "select file_name, sum(handed_in)::bigint, sum(accepted)::bigint, sum(set_aside)::bigint, "
        "bool_or(broken_whole) from intake.accounting group by file_name"
    ).fetchall()
    names = {file.name: _came_as(file.name) for file in handed_files(home)}
    return {names[name]: tuple(counts) for name, *counts in rows}


def _came_as(name: str) -> str:
    """A workbook's sheet counts as the workbook."""
    return name.split(" of ")[-1].removesuffix(".csv") if " of " in name else name


def test_what_must_hold_is_seen_where_it_does_not(connection, tmp_path, monkeypatch):
    """The fuzzing itself: a reader that loses one row, or takes any identifier, is found out."""
    file = MadeFile("shops-1.csv", b"shop_id,name\ns1,a\ns2,b\n", 3, False)
    assert amiss(connection, file, tmp_path) == ["2 rows of 3"]
    monkeypatch.setattr("tests.fuzz.held_to.fits", lambda field, value: field.kind != "id")
    file = MadeFile("shops-1.csv", b"shop_id,name\ns1,a\n", 1, False)
    assert amiss(connection, file, tmp_path) == ["line 2: shop_id = 's1'"]
