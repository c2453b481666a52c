import json
import subprocess
import sys
import textwrap

import pytest

from pipeline.environment import CHECKOUT
from pipeline.home import DEMO, Home, HomeError, demo_home, own_home, write_new


def test_the_demo_and_a_shop_s_own_records_never_share_a_home(tmp_path):
    Home(tmp_path / "demo").prepare(DEMO)
    with pytest.raises(HomeError, match="never mix"):
        Home(tmp_path / "demo").prepare()
    Home(tmp_path / "own").prepare()
    with pytest.raises(HomeError, match="a folder of its own"):
        Home(tmp_path / "own").prepare(DEMO)


def test_a_newer_layout_is_refused(home):
    (home.root / "home.json").write_text(json.dumps({"layout": 99, "kind": "own"}))
    with pytest.raises(HomeError, match="newer Wear Atlas"):
        home.prepare()


def test_a_damaged_card_is_named(home):
    (home.root / "home.json").write_text("{")
    with pytest.raises(HomeError, match=r"home\.json is damaged"):
        home.prepare()


def test_a_second_builder_is_told_who_is_at_work(home):
    other = textwrap.dedent(f"""
        from pathlib import Path
        from pipeline.home import Home, HomeError
        try:
            with Home(Path({str(home.root)!r})).one_builder():
                print("in")
        except HomeError as error:
            print(error)
    """)

    def try_from_outside() -> str:
        done = subprocess.run(
            [sys.executable, "-c", other], capture_output=True, text=True, cwd=CHECKOUT, check=True
        )
        return done.stdout

    with home.one_builder():
        said = try_from_outside()
    assert "Another builder is at work" in said
    assert "process" in said
    with home.one_builder():
        (home.root / "builder.json").write_text("7")
        assert "it has not written its name yet" in try_from_outside()
    assert try_from_outside() == "in\n"


def test_the_home_is_named_by_argument_then_by_environment(monkeypatch, tmp_path):
    monkeypatch.setenv("WEAR_ATLAS_HOME", str(tmp_path / "env"))
    assert own_home(str(tmp_path / "arg")).root == tmp_path / "arg"
    assert own_home().root == tmp_path / "env"
    monkeypatch.delenv("WEAR_ATLAS_HOME")
    assert own_home().root != demo_home().root


def test_a_file_is_written_whole_or_not_at_all(tmp_path, monkeypatch):
    path = tmp_path / "card.json"
    write_new(path, "one")
    monkeypatch.setattr("os.fsync", lambda number: (_ for _ in ()).throw(OSError("full")))
    with pytest.raises(OSError, match="full"):
        write_new(path, "two")
    assert path.read_text() == "one"
