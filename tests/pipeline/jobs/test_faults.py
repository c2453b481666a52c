"""What comes to harm is made again from the files handed in; readers never see the half of it."""

import json
import subprocess
import sys
from datetime import UTC, datetime, timedelta
from types import SimpleNamespace

import pytest

from pipeline.access.reading import NotThereError, edition_of, reading
from pipeline.access.sweep_traces import sweep_window
from pipeline.environment import CHECKOUT
from pipeline.home import HomeError
from pipeline.intake.receive import handed_files, receive
from pipeline.jobs import ingest as ingest_job
from pipeline.jobs.ingest import ensure_current, rebuild
from pipeline.jobs.keeping.check_home import check_home
from pipeline.jobs.made_anew import rebuild_from_nothing
from pipeline.jobs.take_up import QUIET, STARTING, not_taken_up, take_up_if_due
from pipeline.statements import run
from pipeline.warehouse.publish import KEPT_VERSIONS, newest, passed_over, published
from tests.askers import HERE
from tests.pipeline.damage_done import (
    cut_short,
    dump,
    flip_a_block_that_opening_passes_by,
    flip_a_byte,
    not_a_database,
    one,
    published_again,
)
from tests.pipeline.shop_files import NOW, SHOP, hand_in, write_files


def _shown(home):
    with reading(home, HERE) as (manifest, connection):
        (count,) = connection.execute("select count(*) from marts.worklist").fetchone()
        return manifest.version, count, edition_of(home, manifest).instead


def _read_through(home):
    with reading(home, HERE) as (_, connection):
        for schema, table in run(connection, "warehouse/sql/check/tables").fetchall():
            connection.execute(f'from {schema}."{table}"').fetchall()


@pytest.mark.long
def test_the_next_build_makes_all_that_came_to_harm_anew_and_says_so(faulty_copy):
    before = dump(faulty_copy)
    flip_a_byte(one(faulty_copy.rows, "*0002.rows.*"))
    cut_short(one(faulty_copy.rows, "*0003.issues.*"))
    one(faulty_copy.rows, "*0004.rows.*").unlink()
    flip_a_byte(one(faulty_copy.sweeps_by_shop, "*/*/*.parquet"))
    flip_a_byte(one(faulty_copy.measured, "*.passes.parquet"))
    flip_a_byte(one(faulty_copy.kept_models, "hazard.skops"))
    flip_a_byte(one(faulty_copy.kept_models, "wear_dropouts.skops"))
    flip_a_byte(one(faulty_copy.kept_models, "wear_lives_bands.parquet"))
    cut_short(one(faulty_copy.kept_models, "wear_sweeps_chances.parquet"))
    cut_short(one(faulty_copy.given_out, "*.parquet"))
    cut_short(one(faulty_copy.advised, "*.parquet"))
    (faulty_copy.measured / "0.passes.draft").write_bytes(b"half")
    published_again(faulty_copy)
    cut_short(newest(faulty_copy).path)
    said: list[str] = []
    rebuild(faulty_copy, say=said.append)
    told = "\n".join(said)
    assert "parts.csv (hand-in 1) is not as it was written" in told
    assert "A file of samples" in told
    assert "What was measured of some sweeps is not as it was written" in told
    assert "hazard.skops is not the file" in told
    assert "wear_dropouts.skops is not the file" in told
    assert check_home(faulty_copy) == []
    assert dump(faulty_copy) == before


def test_a_damaged_newest_version_is_passed_over_and_said_so(faulty_copy):
    version, count, instead = _shown(faulty_copy)
    assert (version, instead) == (1, "")
    for harm in (cut_short, not_a_database):
        published_again(faulty_copy)
        assert _shown(faulty_copy)[0] == newest(faulty_copy).version > 1
        harm(newest(faulty_copy).path)
        shown, rows, instead = _shown(faulty_copy)
        assert (shown, rows) == (1, count)
        assert "Newer records cannot be read" in instead
        assert "is damaged" in instead
        assert "Nothing handed in is lost" in instead


def test_a_version_damaged_behind_its_head_is_found_by_the_reading_that_meets_it(faulty_copy):
    published_again(faulty_copy)
    flip_a_block_that_opening_passes_by(newest(faulty_copy))
    with pytest.raises(NotThereError, match=r"Version 2 .* turned out to be damaged"):
        _read_through(faulty_copy)
    assert _shown(faulty_copy)[0] == 1


def test_a_damaged_manifest_or_one_that_points_to_nothing_is_passed_over(faulty_copy):
    published_again(faulty_copy)
    (faulty_copy.published / "000002.json").write_text('{"warehouse": ')
    assert "its manifest published/000002.json is damaged" in _shown(faulty_copy)[2]
    published_again(faulty_copy)  # the third: the damaged one is taken away with it
    assert passed_over(faulty_copy) == {}
    newest(faulty_copy).path.unlink()
    version, _, instead = _shown(faulty_copy)
    assert version == 1
    assert "its warehouse published/warehouse-000003.duckdb is gone" in instead


@pytest.mark.parametrize("card", ["[]", "{}", '{"warehouse": 7}', "null", '"a"', "\x00\x00"])
def test_whatever_stands_in_a_manifest_never_stops_a_reader(faulty_copy, card):
    (faulty_copy.published / "000002.json").write_text(card)
    assert [manifest.version for manifest in published(faulty_copy)] == [1]


def test_where_no_version_can_be_read_that_is_said_with_what_to_do(faulty_copy):
    cut_short(newest(faulty_copy).path)
    with pytest.raises(NotThereError, match=r"damaged.*python3 -m pipeline rebuild"):
        _shown(faulty_copy)
    assert newest(faulty_copy) is None


def test_a_reader_keeps_the_version_it_holds_while_others_come_and_it_goes(faulty_copy):
    with reading(faulty_copy, HERE) as (manifest, connection):
        before = connection.execute("from marts.worklist order by all").fetchall()
        for _ in range(KEPT_VERSIONS + 1):
            published_again(faulty_copy, "delete from marts.worklist")
        assert not manifest.path.exists()
        assert connection.execute("from marts.worklist order by all").fetchall() == before
    assert _shown(faulty_copy)[:2] == (KEPT_VERSIONS + 2, 0)


def test_a_version_deleted_under_a_reader_leaves_it_its_own(faulty_copy):
    published_again(faulty_copy)
    with reading(faulty_copy, HERE) as (manifest, connection):
        manifest.path.unlink()
        assert connection.execute("select count(*) from marts.worklist").fetchone() != (0,)
        assert _shown(faulty_copy)[0] == 1


def test_damaged_samples_are_named_to_whoever_asks_for_them(faulty_copy):
    cut_short(one(faulty_copy.sweeps_by_shop, "**/*.parquet"))
    with pytest.raises(NotThereError, match=r"sweeps_by_shop/.*is damaged.*next build"):
        sweep_window(faulty_copy, HERE, "T1", 0.0, 9.0)


@pytest.mark.long
def test_a_handed_in_file_that_changed_is_set_aside_by_name_until_it_is_put_back(home, tmp_path):
    hand_in(home, tmp_path / "a", SHOP)
    kept = dump(home)
    path = next(file.path for file in handed_files(home) if file.name == "odometer.csv")
    as_it_came = path.read_bytes()
    path.write_bytes(as_it_came.replace(b"26000", b"62000"))
    rebuild(home)
    assert dump(home)["staging.odometer"] == kept["staging.odometer"]  # read before, and whole
    with pytest.raises(HomeError, match=r"Nothing was changed[^$]*odometer.csv is no longer"):
        rebuild_from_nothing(home)
    for made in home.rows.iterdir():
        made.unlink()
    rebuild(home)
    assert "is no longer as it came: put handed_in/000001" in home.set_aside.read_text()
    assert dump(home)["staging.odometer"] == []
    path.write_bytes(as_it_came)
    rebuild(home)
    assert dump(home)["staging.odometer"] == kept["staging.odometer"]
    assert check_home(home) == []


@pytest.mark.long
def test_advice_that_cannot_be_read_is_told_and_stops_no_build(faulty_copy):
    (faulty_copy.advised / "000000.parquet").write_bytes(b"PAR1")
    rebuild(faulty_copy)
    with reading(faulty_copy, HERE) as (_, connection):
        told = connection.execute("select notice from marts.notices").fetchall()
    assert any("put advised/000000.parquet back" in notice for (notice,) in told)
    assert (faulty_copy.advised / "000000.parquet").read_bytes() == b"PAR1"


@pytest.mark.long
def test_of_two_builders_at_once_one_waits_or_is_told_and_both_leave_it_whole(faulty_copy):
    command = [sys.executable, "-m", "pipeline", "rebuild", "--home", str(faulty_copy.root)]
    both = [
        subprocess.Popen(command, cwd=CHECKOUT, stderr=subprocess.PIPE, text=True) for _ in range(2)
    ]
    said = [process.communicate()[1] for process in both]
    codes = sorted(process.returncode for process in both)
    assert codes in ([0, 0], [0, 1])
    if codes == [0, 1]:
        assert "Another builder is at work" in "".join(said)
    assert newest(faulty_copy).version == 1 + codes.count(0)
    assert check_home(faulty_copy) == []


def test_a_clock_set_back_after_a_hand_in_does_not_hold_the_build_off(home, monkeypatch, tmp_path):
    begun = []
    monkeypatch.setattr(
        "pipeline.jobs.take_up.subprocess.Popen",
        lambda *of, **how: begun.append(of) or SimpleNamespace(pid=1),
    )
    receive(home, [write_files(tmp_path / "a", SHOP)], NOW)
    back = NOW - timedelta(days=900)
    assert take_up_if_due(home, back)
    assert len(begun) == 1
    card = json.loads((home.root / "building.json").read_text())
    card["begun_at"] = NOW.isoformat()
    (home.root / "building.json").write_text(json.dumps(card))
    assert not not_taken_up(home, back + QUIET + STARTING).building


def test_later_means_later_by_number_whatever_the_clock_says(home, tmp_path):
    for name, day in (("first", 0), ("second", 400)):
        folder = write_files(tmp_path / name, {"shops": f"shop_id,name\ns1,{name}\n"})
        receive(home, [folder], NOW - timedelta(days=day))
    files = handed_files(home)
    assert [file.hand_in for file in files] == [1, 2]
    assert files[1].path.read_text().endswith("second\n")


def test_records_of_a_day_that_has_not_come_are_built_anew(faulty_copy, monkeypatch):
    built = []
    monkeypatch.setattr(ingest_job, "rebuild", lambda home, **how: built.append(home))
    ensure_current(faulty_copy)
    card = faulty_copy.published / "000001.json"
    known = json.loads(card.read_text())
    if known["as_of"] == datetime.now(UTC).date().isoformat():
        assert built == []
    card.write_text(json.dumps(known | {"as_of": "2099-01-01"}))
    built.clear()
    ensure_current(faulty_copy)
    assert built == [faulty_copy]


def test_records_that_cannot_be_read_are_built_anew_at_the_start(faulty_copy, monkeypatch):
    built = []
    monkeypatch.setattr(ingest_job, "rebuild", lambda home, **how: built.append(home))
    published_again(faulty_copy)
    cut_short(newest(faulty_copy).path)
    ensure_current(faulty_copy)
    assert built == [faulty_copy]
