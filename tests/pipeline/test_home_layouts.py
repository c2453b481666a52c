"""Homes of older layouts: `layout_1/` is one as version 1 of the layout left it, never changed.

So is `layout_2/`, with its samples by handed-in file.
"""

import json
import shutil
from contextlib import ExitStack
from pathlib import Path
from unittest.mock import patch

import pytest

from dashboard import start
from pipeline import home_layouts
from pipeline.access.reading import reading
from pipeline.access.views import current_version, session_view
from pipeline.commands import main
from pipeline.deed_lines import Standing, deed_of, standing_of
from pipeline.home import Home, HomeError
from pipeline.home_layouts import LAYOUT, STEPS, carry_forward
from pipeline.intake.column_names import read_column_names, remember_column_names
from pipeline.intake.deeds_check import broken_links, read_deeds
from pipeline.intake.receive import handed_files
from pipeline.intake.settings.settings_edit import keep_settings
from pipeline.intake.settings.settings_file import read_settings
from pipeline.intake.typed.drafts import drafts
from pipeline.intake.typed.entries import save_entry
from pipeline.jobs.ingest import ensure_current, rebuild
from pipeline.jobs.keeping.check_home import check_home
from pipeline.statements import connect
from tests.askers import HERE

OLD = Path(__file__).parent / "layout_1"
READING = {"unit_id": "B1", "read_on": "2026-05-02", "odometer_km": 31100}


@pytest.fixture
def old_home(tmp_path) -> Home:
    shutil.copytree(OLD, tmp_path / "home")
    return Home(tmp_path / "home")


def _contents(root: Path) -> dict[str, bytes]:
    files = (path for path in root.rglob("*") if path.is_file() and path.name != "lock")
    return {path.relative_to(root).as_posix(): path.read_bytes() for path in files}


def test_every_layout_but_the_present_one_has_a_step():
    assert sorted(STEPS) == list(range(1, LAYOUT))


def test_a_home_is_carried_forward_with_a_copy_of_what_was_changed(old_home):
    before = _contents(old_home.root)
    assert carry_forward(old_home.root) == [2, 3]
    assert carry_forward(old_home.root) == []
    after = _contents(old_home.root)
    assert json.loads(after.pop("home.json"))["layout"] == 3
    assert after.pop("before_layout_2/home.json") == before.pop("home.json")
    assert json.loads(after.pop("before_layout_3/home.json"))["layout"] == 2
    record = after.pop("deeds/000001.jsonl")
    assert after == before
    deeds = [deed_of(line) for line in record.splitlines()]
    assert [(d["deed"], d["who"], d["said"]["hand_in"]) for d in deeds] == [
        ("handed_in", "", 1),
        ("handed_in", "", 2),
    ]
    assert standing_of(deeds[-1]) == Standing(number=2, hand_in=2)
    assert broken_links(old_home) == []


def test_what_an_old_home_holds_can_still_be_read(old_home):
    with old_home.one_builder():
        assert old_home.layout == LAYOUT
    assert [file.name for file in handed_files(old_home)][-2:] == ["units.csv", "odometer.csv"]
    assert read_column_names(old_home, HERE) == {"units": {"Plate": "label"}}
    assert read_settings(old_home).problems == ()
    assert [draft.values for draft in drafts(old_home, HERE)] == [{"sensor_id": "S1"}]
    assert save_entry(old_home, {"odometer": [READING]}) == 3
    assert [deed["who"] for deed in read_deeds(old_home)] == ["", "", "this machine"]
    assert broken_links(old_home) == []


def test_what_a_page_saved_before_the_step_stays_on_record(old_home):
    save_entry(old_home, {"odometer": [READING]})
    told = read_deeds(old_home)
    assert old_home.bring_up_to_date()
    assert not old_home.bring_up_to_date()
    assert old_home.layout == LAYOUT
    assert read_deeds(old_home) == told
    assert (old_home.root / "before_layout_2" / "deeds" / "000001.jsonl").exists()


@pytest.mark.long
def test_an_old_home_is_built_and_its_advice_kept(old_home):
    manifest = rebuild(old_home)
    assert manifest.version == 3  # behind those whose advice it holds
    connection = connect(manifest.path, read_only=True)
    try:
        kept = connection.execute("select count(*) from marts.advised_spells").fetchone()
        read = connection.execute("select max(odometer_km) from staging.odometer").fetchone()
    finally:
        connection.close()
    assert kept[0] > 0
    assert read[0] == 31000


@pytest.fixture
def home_of_samples_by_file(tmp_path) -> Home:
    shutil.copytree(OLD.with_name("layout_2"), tmp_path / "home")
    return Home(tmp_path / "home")


def test_samples_by_file_stay_until_a_build_has_put_them_together(home_of_samples_by_file):
    home = home_of_samples_by_file
    before = _contents(home.root)
    assert carry_forward(home.root) == [3]
    after = _contents(home.root)
    assert json.loads(after.pop("home.json"))["layout"] == 3
    assert after.pop("before_layout_3/home.json") == before.pop("home.json")
    assert after == before
    assert not any(home.sweeps_by_shop.iterdir())


@pytest.mark.long
def test_samples_by_file_are_put_together_without_being_read_or_measured_again(
    home_of_samples_by_file, monkeypatch
):
    home, said = home_of_samples_by_file, []
    monkeypatch.setattr("pipeline.jobs.measure.MEASURE_VERSION", "4")  # that of the frozen home
    measured = {path.name: path.read_bytes() for path in home.measured.iterdir()}
    rows = {path.name: path.read_bytes() for path in home.rows.iterdir()}
    rebuild(home, say=said.append)
    assert {path.name: path.read_bytes() for path in home.measured.iterdir()} == measured
    assert {path.name: path.read_bytes() for path in home.rows.iterdir()} == rows
    assert not any(home.sweeps.iterdir())
    parts = sorted(path.parent for path in home.sweeps_by_shop.rglob("*.parquet"))
    assert [part.relative_to(home.sweeps_by_shop).as_posix() for part in parts] == [
        f"shop_id=s1/month={month}" for month in ("2023-01", "2024-01", "2024-03")
    ]
    trace = session_view(home, HERE, "T4").trace
    assert len(trace) == 400
    assert check_home(home) == []


class _Killed(BaseException):
    """What a kill is to the code: nothing catches it."""


def _killed_at(number: int, root: Path) -> bool:
    """Carry a home forward and kill it at its n-th touch of the disk; whether it came so far."""
    left = [number]

    def counted(real):
        def touch(*args, **more):
            left[0] -= 1
            if left[0] == 0:
                raise _Killed
            return real(*args, **more)

        return touch

    touches = [
        (Path, ("rename", "replace", "mkdir")),
        (shutil, ("copy2", "copytree", "rmtree")),
        (home_layouts.os, ("fsync",)),
    ]
    with ExitStack() as patched:
        for owner, names in touches:
            for name in names:
                patched.enter_context(patch.object(owner, name, counted(getattr(owner, name))))
        try:
            carry_forward(root)
        except _Killed:
            return True
    return False


def test_killed_at_any_touch_of_the_disk_it_ends_the_same(tmp_path):
    shutil.copytree(OLD, tmp_path / "whole")
    carry_forward(tmp_path / "whole")
    wanted, number = _contents(tmp_path / "whole"), 1
    while True:
        root = tmp_path / str(number)
        shutil.copytree(OLD, root)
        if not _killed_at(number, root):
            break
        carry_forward(root)
        assert _contents(root) == wanted
        number += 1
    assert number > 6


@pytest.fixture
def newer_home(old_home) -> Home:
    card = {"layout": LAYOUT + 1, "kind": "own"}
    (old_home.root / "home.json").write_text(json.dumps(card))
    return old_home


ENTRANCES = {
    "read": lambda home: home.kind,
    "take in": lambda home: home.prepare(),
    "build": rebuild,
    "enter": lambda home: save_entry(home, {"odometer": [READING]}),
    "set": lambda home: keep_settings(home, {"test_hours": 0.9}),
    "name columns": lambda home: remember_column_names(home, "units", {"Hue": ""}),
    "start": ensure_current,
}


@pytest.mark.parametrize("enter", ENTRANCES.values(), ids=list(ENTRANCES))
def test_a_newer_home_is_refused_and_left_as_it_is(newer_home, enter):
    before = _contents(newer_home.root)
    with pytest.raises(HomeError, match="newer Wear Atlas"):
        enter(newer_home)
    assert _contents(newer_home.root) == before


@pytest.mark.parametrize("command", [["ingest", str(OLD)], ["rebuild"], ["backup", "BACKUP"]])
def test_the_commands_refuse_a_newer_home(newer_home, command, capsys, tmp_path):
    words = [str(tmp_path / "b.tar") if word == "BACKUP" else word for word in command]
    before = _contents(newer_home.root)
    assert main([*words, "--home", str(newer_home.root)]) == 1
    assert "newer Wear Atlas" in capsys.readouterr().err
    assert _contents(newer_home.root) == before
    assert not (tmp_path / "b.tar").exists()


def test_the_dashboard_does_not_start_on_a_newer_home(newer_home, capsys, monkeypatch):
    monkeypatch.setattr(start, "refuse_taken_port", lambda *where: None)
    assert start.main(["--home", str(newer_home.root)]) == 1
    assert "newer Wear Atlas" in capsys.readouterr().err


def test_no_page_reads_a_newer_home(stocked_copy):
    with reading(stocked_copy, HERE):
        pass
    card = stocked_copy.root / "home.json"
    card.write_text(json.dumps(json.loads(card.read_text()) | {"layout": LAYOUT + 1}))
    for read in (current_version, lambda home: reading(home, HERE).__enter__()):
        with pytest.raises(HomeError, match="newer Wear Atlas"):
            read(stocked_copy)
