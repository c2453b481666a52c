"""The check of a home: silent where all is well, and each harm is named with what mends it."""

import shutil
from datetime import timedelta

import pytest

from pipeline.commands import main
from pipeline.home import Home
from pipeline.intake.receive import receive
from pipeline.jobs.keeping.check_home import check_home
from pipeline.jobs.keeping.findings import COPY, NEXT_BUILD, REMARK, Finding
from pipeline.statements import connect, run
from pipeline.warehouse.mart_keys import KEYS
from pipeline.warehouse.publish import newest, published
from tests.pipeline.damage_done import (
    cut_short,
    flip_a_byte,
    flip_all_blocks,
    not_a_database,
    one,
    published_again,
)
from tests.pipeline.shop_files import NOW, SHOP, write_files


def test_a_home_where_all_is_well_gives_no_finding(faulty_home, stocked_home):
    assert check_home(faulty_home) == []
    assert check_home(stocked_home) == []


def test_the_key_of_every_mart_is_declared(faulty_home):
    connection = connect(newest(faulty_home).path, read_only=True)
    found = run(connection, "warehouse/sql/check/tables").fetchall()
    connection.close()
    assert {table for schema, table in found if schema == "marts"} == set(KEYS)


HARMS = {
    "rows changed": (lambda home: flip_a_byte(one(home.rows, "*.rows.*")), "rows/", NEXT_BUILD),
    "rows gone": (lambda home: one(home.rows, "*.issues.*").unlink(), "rows/", NEXT_BUILD),
    "seal damaged": (lambda home: cut_short(one(home.rows, "*.json")), "rows/", NEXT_BUILD),
    "samples cut": (
        lambda home: cut_short(one(home.sweeps_by_shop, "**/*.parquet")),
        "sweeps_by_shop/",
        NEXT_BUILD,
    ),
    "samples of no version": (
        lambda home: (home.sweeps_aside / "part-0.parquet").touch(),
        "sweeps_aside/part-0.parquet",
        NEXT_BUILD,
    ),
    "samples twice": (
        lambda home: (one(home.sweeps_by_shop, "*/*") / "part-0.parquet").touch(),
        "sweeps_by_shop/",
        NEXT_BUILD,
    ),
    "measures": (
        lambda home: flip_a_byte(one(home.measured, "*.profile.parquet")),
        "measured/",
        NEXT_BUILD,
    ),
    "model": (
        lambda home: flip_a_byte(one(home.kept_models, "*.skops")),
        "kept_models/",
        NEXT_BUILD,
    ),
    "what a fit rested on": (
        lambda home: flip_a_byte(one(home.kept_models, "fit_rested_on.parquet")),
        "kept_models/fit.json",
        NEXT_BUILD,
    ),
    "manifest": (
        lambda home: (home.published / "000001.json").write_text("{"),
        "published/000001.json",
        NEXT_BUILD,
    ),
    "manifest to nothing": (
        lambda home: one(home.published, "*.duckdb").unlink(),
        "published/000001.json",
        NEXT_BUILD,
    ),
    "warehouse cut": (lambda home: cut_short(newest(home).path), "published/000001", NEXT_BUILD),
    "no warehouse": (lambda home: not_a_database(newest(home).path), "published/", NEXT_BUILD),
    "blocks": (lambda home: flip_all_blocks(newest(home).path), "published/000001", NEXT_BUILD),
    "draft": (
        lambda home: (home.measured / "0.passes.draft").touch(),
        "measured/0.passes.draft",
        NEXT_BUILD,
    ),
    "file changed": (
        lambda home: flip_a_byte(home.handed_in / "000001" / "0002.csv"),
        "handed_in/000001/0002.csv",
        COPY,
    ),
    "file gone": (
        lambda home: (home.handed_in / "000001" / "0002.csv").unlink(),
        "handed_in/000001/0002.csv",
        COPY,
    ),
    "card": (
        lambda home: cut_short(home.handed_in / "000001" / "hand_in.json"),
        "handed_in/000001/hand_in.json",
        COPY,
    ),
    "hand-in gone": (
        lambda home: shutil.rmtree(home.handed_in / "000001"),
        "handed_in/000001/hand_in.json",
        COPY,
    ),
    "advice": (
        lambda home: flip_all(one(home.advised, "*.parquet")),
        "advised/000001.parquet",
        NEXT_BUILD,
    ),
    "advice of old": (
        lambda home: (home.advised / "000000.parquet").write_bytes(b"PAR1"),
        "advised/000000.parquet",
        COPY,
    ),
}


def flip_all(path):
    path.write_bytes(bytes(byte ^ 0xFF for byte in path.read_bytes()))


TOGETHER = ("rows changed", "measures", "model", "blocks", "draft", "file changed", "advice of old")


def test_many_harms_at_once_are_each_named(faulty_copy):
    for name in TOGETHER:
        HARMS[name][0](faulty_copy)
    told = {(finding.where.split("/")[0], finding.remedy) for finding in check_home(faulty_copy)}
    assert told == {(HARMS[name][1].split("/")[0], HARMS[name][2]) for name in TOGETHER}


@pytest.mark.long
@pytest.mark.parametrize("name", HARMS)
def test_each_harm_is_named_with_what_mends_it(name, faulty_copy):
    harm, where, remedy = HARMS[name]
    harm(faulty_copy)
    found = check_home(faulty_copy)
    told = [finding for finding in found if finding.where.startswith(where)]
    assert told, found
    assert {finding.remedy for finding in told} == {remedy}
    assert str(told[0]).startswith(where)


@pytest.mark.long
def test_rows_that_do_not_come_out_are_counted(faulty_copy):
    wrong = (
        ("insert into marts.worklist from marts.worklist limit 1", "marts.worklist has 1 rows"),
        (
            "delete from staging.odometer where read_on = '2025-06-01'",
            "staging.odometer has 1 rows",
        ),
        ("update marts.bikes set unit_id = null where unit_id = 'B1'", "is blank"),
        ("delete from intake.row_outcomes where row_id = 1", "1 handed in without an outcome"),
        (
            "insert into intake.files select 9, * exclude (hand_in) from intake.files limit 1",
            "holds 1",
        ),
    )
    for statement, said in wrong:
        published_again(faulty_copy, statement)
        assert said in "\n".join(map(str, check_home(faulty_copy))), statement
        found = newest(faulty_copy)
        found.path.unlink()
        (faulty_copy.published / f"{found.version:06d}.json").unlink()


def test_an_older_version_that_is_damaged_is_told_of_too(faulty_copy):
    published_again(faulty_copy)
    cut_short(faulty_copy.published / "warehouse-000001.duckdb")
    assert [finding.where for finding in check_home(faulty_copy)] == ["published/000001.json"]
    assert [manifest.version for manifest in published(faulty_copy)] == [2]


def test_a_hand_in_that_waits_is_no_fault(faulty_copy, tmp_path):
    receive(faulty_copy, [write_files(tmp_path / "a", {"shops": SHOP["shops"]})], NOW)
    assert [finding for finding in check_home(faulty_copy) if finding.is_wrong] == []


def test_a_gap_among_hand_ins_is_told(home, tmp_path):
    folder = write_files(tmp_path / "a", {"shops": SHOP["shops"]})
    for _ in range(3):
        receive(home, [folder], NOW)
    shutil.rmtree(home.handed_in / "000002")
    copies = [finding for finding in check_home(home) if finding.needs_copy]
    assert [finding.where for finding in copies] == ["handed_in/000002"]
    assert "Put handed_in/000002 back from the copy you kept." in str(copies[0])


def test_a_clock_set_back_is_remarked_and_no_fault(home, tmp_path):
    folder = write_files(tmp_path / "a", {"shops": SHOP["shops"]})
    receive(home, [folder], NOW)
    receive(home, [folder], NOW - timedelta(days=400))
    told = [finding for finding in check_home(home) if finding.remedy == REMARK]
    assert [finding.where for finding in told] == ["handed_in/000002"]
    assert not told[0].is_wrong


def test_the_command_prints_a_line_a_finding_and_its_code_says_whether_all_is_well(
    faulty_copy, capsys
):
    command = ["check", "--home", str(faulty_copy.root)]
    assert main(command) == 0
    assert "All is well." in capsys.readouterr().out
    flip_a_byte(faulty_copy.handed_in / "000001" / "0002.csv")
    assert main(command) == 1
    printed = capsys.readouterr()
    assert "handed_in/000001/0002.csv: the file parts.csv is no longer as it came." in printed.out
    said = printed.err.splitlines()[-1]  # the lines before tell how far it was
    assert said == "1 found wrong; 1 need a copy you kept, the next build mends 0."


@pytest.mark.long
def test_what_can_be_made_again_is_mended_when_asked(faulty_copy, capsys):
    flip_a_byte(one(faulty_copy.measured, "*.profile.parquet"))
    cut_short(newest(faulty_copy).path)
    assert main(["check", "--repair", "--home", str(faulty_copy.root)]) == 0
    printed = capsys.readouterr().out
    assert "its warehouse is damaged" in printed
    assert printed.endswith("All is well now.\n")


def test_a_home_that_nobody_started_cannot_be_checked(tmp_path, capsys):
    assert main(["check", "--home", str(Home(tmp_path / "none").root)]) == 1
    assert "holds no records yet" in capsys.readouterr().err


def test_a_finding_says_where_what_and_what_then():
    copy = Finding("handed_in/000001/0001.csv", "the file units.csv is gone", COPY)
    assert str(copy) == (
        "handed_in/000001/0001.csv: the file units.csv is gone. "
        "Put handed_in/000001/0001.csv back from the copy you kept."
    )
    assert str(Finding("a", "it is odd", REMARK)) == "a: it is odd."
