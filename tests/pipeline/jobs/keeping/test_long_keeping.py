"""Backing up, restoring and checking tell how far they are, and end tidily when cancelled."""

from __future__ import annotations

import os
import shutil
import signal
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path

import pytest

from pipeline import commands
from pipeline.home import Home
from pipeline.jobs.keeping import restore as restore_module
from pipeline.jobs.keeping.backup import back_up
from pipeline.jobs.keeping.backup_format import read_backup
from pipeline.jobs.keeping.check_home import check_home
from pipeline.jobs.keeping.restore import restore
from pipeline.jobs.progress import BYTES, LongWork

_CHECKED = (
    "Looking through what was handed in",
    "Looking through what was read of it",
    "Looking through samples of sweeps",
    "Looking through what was measured",
    "Looking through what is published",
)
_COPIED = ("Copying what cannot be made again", "Reading the backup back")
_PUT_BACK = ("Reading the backup through", "Restoring", "Comparing what was restored")


@dataclass
class Heard(LongWork):
    """Long work that keeps what it is told: done and total by stage, and the unit of each."""

    done: dict[str, int] = field(default_factory=dict)
    totals: dict[str, int] = field(default_factory=dict)
    units: dict[str, str] = field(default_factory=dict)

    @contextmanager
    def counted(self, stage: str, unit: str, total: int) -> Iterator[Callable[[int], None]]:
        """As of any long work."""
        self.done[stage], self.totals[stage], self.units[stage] = 0, total, unit
        with super().counted(stage, unit, total) as step:

            def heard(more: int) -> None:
                self.done[stage] += more
                step(more)

            yield heard


def cancelled_in(stage: str) -> type[LongWork]:
    """Long work in which somebody presses Ctrl-C once a part of that stage is done."""

    class Cancelled(LongWork):
        @contextmanager
        def counted(self, at: str, unit: str, total: int) -> Iterator[Callable[[int], None]]:
            with super().counted(at, unit, total) as step:
                yield step if at != stage else lambda more: _press()

    return Cancelled


def _press() -> None:
    os.kill(os.getpid(), signal.SIGINT)
    time.sleep(5)  # Python heeds it at the latest here


@pytest.fixture
def run_cancelled(monkeypatch):
    """Run a command, cancelled in a stage; its exit code."""

    def run(stage: str, *words: object) -> int:
        work = cancelled_in(stage)
        with monkeypatch.context() as patched:
            patched.setattr(commands, "LongWork", work)
            patched.setattr(restore_module, "LongWork", work)
            return commands.main([str(word) for word in words])

    return run


@pytest.fixture
def whole(stocked_home, tmp_path) -> Path:
    """A backup of a home with records; made of a copy, since it is noted there."""
    shutil.copytree(stocked_home.root, tmp_path / "backed up")
    return back_up(Home(tmp_path / "backed up"), tmp_path / "whole.tar").backup.path


def _contents(root: Path) -> dict[str, bytes]:
    files = (path for path in root.rglob("*") if path.is_file() and path.name != "lock")
    return {path.relative_to(root).as_posix(): path.read_bytes() for path in files}


def test_a_backup_and_its_restoring_are_counted_in_the_bytes_of_their_files(
    stocked_copy, tmp_path, monkeypatch
):
    copying, putting_back = Heard(), Heard()
    made = back_up(stocked_copy, tmp_path / "b.tar", work=copying).backup
    assert copying.done == copying.totals == dict.fromkeys(_COPIED, made.size)
    monkeypatch.setattr(restore_module, "LongWork", lambda **how: putting_back)
    restore(made.path, tmp_path / "new", build=False)
    assert putting_back.done == dict.fromkeys(_PUT_BACK, made.size)
    assert set(putting_back.units.values()) == {BYTES}


def test_a_check_counts_all_that_it_looks_through(faulty_copy):
    heard = Heard()
    assert check_home(faulty_copy, work=heard) == []
    assert tuple(heard.totals) == _CHECKED
    assert min(heard.totals.values()) > 0
    cards = sum(path.stat().st_size for path in faulty_copy.handed_in.rglob("hand_in.json"))
    assert heard.done.pop(_CHECKED[0]) == heard.totals.pop(_CHECKED[0]) - cards
    assert heard.done == heard.totals


def test_on_no_terminal_the_commands_write_lines_with_rate_and_time(faulty_copy, tmp_path, capsys):
    home = ("--home", str(faulty_copy.root))
    assert commands.main(["backup", str(tmp_path / "b.tar"), *home]) == 0
    said = capsys.readouterr().err
    for stage in _COPIED:
        assert f"{stage}: 100% " in said
    assert "B/s]" in said
    assert commands.main(["check", *home]) == 0
    said = capsys.readouterr().err
    for stage in _CHECKED:
        assert f"{stage}: 100% " in said


@pytest.mark.skipif(os.name == "nt", reason="no process signals itself there")
@pytest.mark.parametrize("stage", _COPIED)
def test_a_cancelled_backup_leaves_no_half(stage, stocked_copy, tmp_path, run_cancelled, capsys):
    before = _contents(stocked_copy.root)
    (tmp_path / "to").mkdir()
    words = ("backup", tmp_path / "to", "--home", stocked_copy.root)
    assert run_cancelled(stage, *words) == 128 + signal.SIGINT
    assert "Cancelled: no half of a backup is left" in capsys.readouterr().err
    assert list((tmp_path / "to").iterdir()) == []
    assert _contents(stocked_copy.root) == before
    assert commands.main([str(word) for word in words]) == 0
    (made,) = (tmp_path / "to").iterdir()
    assert read_backup(made).last_hand_in == 1


@pytest.mark.skipif(os.name == "nt", reason="no process signals itself there")
@pytest.mark.parametrize("stage", _PUT_BACK)
def test_a_cancelled_restore_leaves_no_half(stage, whole, tmp_path, run_cancelled, capsys):
    (tmp_path / "to").mkdir()
    words = ("restore", whole, "--no-build", "--home", tmp_path / "to" / "new")
    assert run_cancelled(stage, *words) == 128 + signal.SIGINT
    said = capsys.readouterr()
    assert "Cancelled: no half of a data home is left" in said.err
    assert "is there" not in said.out
    assert list((tmp_path / "to").iterdir()) == []
    assert commands.main([str(word) for word in words]) == 0


@pytest.mark.skipif(os.name == "nt", reason="no process signals itself there")
def test_a_restore_cancelled_while_it_builds_leaves_the_whole_home(
    whole, tmp_path, monkeypatch, capsys
):
    monkeypatch.setattr(restore_module, "rebuild", lambda home, **how: _press())
    new = tmp_path / "new"
    assert commands.main(["restore", str(whole), "--home", str(new)]) == 128 + signal.SIGINT
    assert f"{new} is there, every file as the backup has it" in capsys.readouterr().out
    held = read_backup(whole).hashes
    assert held.keys() <= _contents(new).keys()
    assert check_home(Home(new)) != []  # nothing is published
    assert not any(finding.needs_copy for finding in check_home(Home(new)))


@pytest.mark.skipif(os.name == "nt", reason="no process signals itself there")
@pytest.mark.parametrize("stage", _CHECKED)
def test_a_cancelled_check_changes_nothing(stage, faulty_copy, run_cancelled, capsys):
    before = _contents(faulty_copy.root)
    assert run_cancelled(stage, "check", "--home", faulty_copy.root) == 128 + signal.SIGINT
    said = capsys.readouterr()
    assert "Cancelled: the check changed no record" in said.err
    assert "All is well" not in said.out
    assert _contents(faulty_copy.root) == before
    assert check_home(faulty_copy) == []
