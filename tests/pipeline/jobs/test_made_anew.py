"""All that is derived can be thrown away: it comes back the same."""

import os
from datetime import date

import pytest

from pipeline.commands import main
from pipeline.home import Home, HomeError
from pipeline.jobs.keeping.check_home import check_home
from pipeline.jobs.made_anew import rebuild_from_nothing
from pipeline.warehouse import build as build_module
from pipeline.warehouse.leftovers import tidy
from pipeline.warehouse.publish import newest
from tests.pipeline.damage_done import dump, flip_a_byte, published_again


def _derived(home):
    return {
        path.relative_to(home.root): path.stat().st_mtime_ns
        for folder in (
            *(home.rows, home.sweeps, home.sweep_cards, home.sweeps_by_shop),
            *(home.measured, home.kept_models),
        )
        for path in folder.rglob("*")
        if path.is_file()
    }


@pytest.fixture
def faulty_copy(faulty_copy) -> Home:
    """The faulty shop, looked at from the day of its records even after midnight."""
    day = date.fromisoformat(newest(faulty_copy).as_of)
    (faulty_copy.root / "home.json").unlink()
    return faulty_copy.prepare(as_of=day)


def test_everything_derived_is_made_anew_and_every_table_is_the_same(faulty_copy):
    stray = faulty_copy.sweeps_by_shop / "shop_id=s9" / "month=2026-01" / "part-0.parquet"
    stray.parent.mkdir(parents=True)
    stray.write_bytes(b"of another home")
    for name in _derived(faulty_copy):
        os.utime(faulty_copy.root / name, (1, 1))
    before, files = dump(faulty_copy), _derived(faulty_copy)
    assert len(before) > 80
    made = rebuild_from_nothing(faulty_copy)
    assert (made.before, made.manifest.version, made.different) == (1, 2, [])
    assert made.tables >= 10
    after = dump(faulty_copy)
    assert after.keys() == before.keys()
    for name, rows in before.items():
        assert after[name] == rows, name
    again = _derived(faulty_copy)
    assert again.keys() == {name for name in files if "shop_id=s9" not in name.parts}
    assert min(again.values()) > max(files.values())  # each was written anew
    assert not list(faulty_copy.root.glob(".set_by*"))
    assert check_home(faulty_copy) == []


def test_what_was_set_by_comes_back_where_the_build_fails(faulty_copy, monkeypatch):
    def fails(*_: object, **__: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(build_module, "settle", fails)
    files = _derived(faulty_copy)
    with pytest.raises(OSError, match="No space"):
        rebuild_from_nothing(faulty_copy)
    back = _derived(faulty_copy)
    assert back.keys() == files.keys()
    assert back == files
    assert check_home(faulty_copy) == []
    assert newest(faulty_copy).version == 1


def test_what_a_killed_process_had_set_by_is_taken_away_by_the_next(faulty_copy):
    (faulty_copy.root / ".set_by-0" / "rows").mkdir(parents=True)
    (found,) = check_home(faulty_copy)
    assert found.where == ".set_by-0"
    tidy(faulty_copy)
    assert check_home(faulty_copy) == []


def test_nothing_is_thrown_away_that_could_not_come_back(faulty_copy):
    flip_a_byte(faulty_copy.handed_in / "000001" / "0002.csv")
    files = _derived(faulty_copy)
    with pytest.raises(HomeError, match=r"Nothing was changed(.|\n)*0002\.csv"):
        rebuild_from_nothing(faulty_copy)
    assert _derived(faulty_copy) == files


@pytest.mark.long
def test_the_command_tells_what_it_was_compared_with(faulty_copy, capsys):
    command = ["rebuild", "--from-nothing", "--home", str(faulty_copy.root)]
    assert main(command) == 0
    assert "hold the same rows as version 1." in capsys.readouterr().out
    published_again(faulty_copy, "delete from staging.shops")
    assert main(command) == 1
    assert "other rows were found in: shops" in capsys.readouterr().err
