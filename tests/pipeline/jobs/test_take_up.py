"""Entries are taken up by a build begun in the background, once, and a failed one is told."""

from __future__ import annotations

import json
import os
import shutil
import signal
import sys
from datetime import UTC, datetime, timedelta
from types import SimpleNamespace

import pytest

from pipeline.access.scope.allowed import NotAllowedError
from pipeline.asker import OPERATOR, OWNER, TECHNICIAN, Asker
from pipeline.home import Home
from pipeline.intake.deeds_check import read_deeds
from pipeline.intake.typed.entries import save_entry
from pipeline.jobs import take_up as job
from pipeline.jobs.how_far import HowFar
from pipeline.jobs.measure import batches
from pipeline.jobs.progress import LongWork
from pipeline.jobs.take_up import (
    QUIET,
    STARTING,
    not_taken_up,
    stop_build,
    take_up,
    take_up_if_due,
)
from pipeline.warehouse.publish import newest
from tests.askers import HERE
from tests.pipeline.jobs.interrupted import all_is_well, goes_on_where_it_was, wait_until

NOW = datetime(2026, 6, 1, 12, tzinfo=UTC)
SHOP = {"shops": [{"shop_id": "s1", "name": "Weir Lane"}]}


@pytest.fixture
def begun(monkeypatch):
    """Commands begun, none of which runs."""
    commands: list[list[str]] = []

    def begin(command: list[str], **how: object) -> SimpleNamespace:
        commands.append(command)
        return SimpleNamespace(pid=os.getpid())

    monkeypatch.setattr(job.subprocess, "Popen", begin)
    return commands


@pytest.fixture
def sent(monkeypatch):
    """Signals sent, none of which arrives."""
    signals: list[tuple[int, int]] = []
    monkeypatch.setattr(job.os, "kill", lambda process, number: signals.append((process, number)))
    return signals


def test_nothing_waits_where_nothing_was_entered(home, begun):
    assert not_taken_up(home, NOW).hand_ins == 0
    assert not take_up_if_due(home, NOW)


def test_a_build_begins_once_no_entry_has_come_for_a_while(home, begun):
    save_entry(home, SHOP, now=NOW)
    assert not take_up_if_due(home, NOW + QUIET - timedelta(seconds=1))
    assert take_up_if_due(home, NOW + QUIET)
    assert begun[0][1:] == ["-m", "pipeline", "rebuild", "--low-priority", "--home", str(home.root)]
    assert not_taken_up(home, NOW + QUIET).building
    assert not take_up_if_due(home, NOW + QUIET + timedelta(seconds=1))
    assert len(begun) == 1


def test_a_failed_build_is_told_and_not_begun_again_for_the_same_entries(home, begun):
    save_entry(home, SHOP, now=NOW)
    take_up(home, NOW)
    (home.root / "building.log").write_text("Reading ...\n\rMeasuring 3 of 9\rNo space left.\n")
    later = NOW + STARTING
    assert not_taken_up(home, later).failed == "No space left."
    assert not take_up_if_due(home, later + QUIET)
    save_entry(home, SHOP, now=later)
    assert not_taken_up(home, later).failed == ""
    assert take_up_if_due(home, later + QUIET)


def test_what_a_builder_holds_counts_as_being_built(home, begun):
    save_entry(home, SHOP, now=NOW)
    with home.one_builder():
        assert not_taken_up(home, NOW + QUIET).building
        assert not_taken_up(home, NOW + QUIET).how_far is None
        LongWork(card=home.building_now).stage("Estimating risk")
        assert not_taken_up(home, NOW + QUIET).how_far == HowFar("Estimating risk")
        assert not take_up_if_due(home, NOW + QUIET)
    assert not not_taken_up(home, NOW + QUIET).building
    assert not_taken_up(home, NOW + QUIET).how_far is None


def test_what_is_published_no_longer_waits(home, begun):
    save_entry(home, SHOP, now=NOW)
    save_entry(home, SHOP, now=NOW)
    _publish(home, hand_in=1)
    assert not_taken_up(home, NOW).hand_ins == 1
    _publish(home, hand_in=2)
    assert not_taken_up(home, NOW).hand_ins == 0


def test_a_stopped_build_is_told_and_begins_again_by_hand_or_for_a_further_entry(home, begun, sent):
    save_entry(home, SHOP, now=NOW)
    take_up(home, NOW)
    with home.one_builder():
        assert not_taken_up(home, NOW).can_stop
        save_entry(home, SHOP, now=NOW)  # too late for this build, and no reason to begin another
        assert stop_build(home, HERE)
        assert sent == [(os.getpid(), signal.SIGTERM)]
        ending = not_taken_up(home, NOW)
        assert ending.building
        assert ending.stopped
        assert not ending.can_stop
    later = NOW + STARTING + QUIET
    ended = not_taken_up(home, later)
    assert (ended.hand_ins, ended.building, ended.failed, ended.stopped) == (2, False, "", True)
    assert not take_up_if_due(home, later)
    assert [deed["deed"] for deed in read_deeds(home)][-1] == "build_stopped"
    save_entry(home, SHOP, now=later)
    assert not not_taken_up(home, later).stopped
    assert take_up_if_due(home, later + QUIET)
    take_up(home, later)
    assert not not_taken_up(home, later).stopped
    assert len(begun) == 3


def test_a_build_stopped_a_moment_after_it_was_begun_is_not_taken_for_one_that_starts(
    home, begun, sent
):
    save_entry(home, SHOP, now=NOW)
    take_up(home, NOW)
    with home.one_builder():
        stop_build(home, HERE)
    assert not not_taken_up(home, NOW + timedelta(seconds=1)).building


def test_what_was_not_begun_from_a_page_is_not_stopped_from_one(home, begun, sent):
    save_entry(home, SHOP, now=NOW)
    assert not stop_build(home, HERE)
    with home.one_builder():
        assert not stop_build(home, HERE)
        assert not not_taken_up(home, NOW).can_stop
    take_up(home, NOW)
    assert not stop_build(home, HERE)  # it is over, or has not begun
    with home.one_builder():
        card = json.loads((home.root / "builder.json").read_text())
        (home.root / "builder.json").write_text(json.dumps(card | {"host": "another"}))
        assert not stop_build(home, HERE)
        for odd in ("-1", "0", "1"):  # every process, one's own kind, the first of all
            odd_card = card | {"process": odd, "begun_by": card["process"]}
            (home.root / "builder.json").write_text(json.dumps(odd_card))
            assert not stop_build(home, HERE)
    assert sent == []


def test_python_begun_by_way_of_another_process_is_the_one_that_is_stopped(home, begun, sent):
    save_entry(home, SHOP, now=NOW)
    take_up(home, NOW)
    with home.one_builder():
        card = json.loads((home.root / "builder.json").read_text())
        changed = {"process": "4711", "begun_by": card["process"]}
        (home.root / "builder.json").write_text(json.dumps(card | changed))
        assert stop_build(home, HERE)
    assert sent == [(4711, signal.SIGTERM)]


@pytest.mark.parametrize(
    "asker",
    [
        Asker("tess", TECHNICIAN),
        Asker("fay", OPERATOR),
        Asker("otto", OWNER, frozenset({"s1"})),
    ],
    ids=lambda asker: asker.name,
)
def test_only_an_owner_who_sees_all_may_stop_a_build(home, begun, sent, asker):
    save_entry(home, SHOP, now=NOW)
    take_up(home, NOW)
    with home.one_builder():
        with pytest.raises(NotAllowedError):
            stop_build(home, asker)
        assert sent == []
        assert stop_build(home, Asker("ben", OWNER))
    assert read_deeds(home)[-1]["who"] == "ben"


def test_a_build_for_other_reasons_is_told_too(home, begun):
    _publish(home, hand_in=0)
    with home.one_builder():
        LongWork(card=home.building_now).stage("Estimating risk")
        waiting = not_taken_up(home, NOW)
        assert (waiting.hand_ins, waiting.building) == (0, True)
        assert waiting.how_far == HowFar("Estimating risk")
    assert not not_taken_up(home, NOW).building


@pytest.mark.long
@pytest.mark.skipif(os.name == "nt", reason="there a process is ended, not asked to end")
def test_a_build_at_work_is_stopped_and_leaves_all_well(
    handed_in, built_by_one, tmp_path, monkeypatch
):
    home = Home(tmp_path / "home")
    shutil.copytree(handed_in.root, home.root)
    slow = (sys.executable, "-m", "tests.pipeline.jobs.slow_build", "rebuild")
    monkeypatch.setattr(job, "_REBUILD", slow)
    take_up(home)
    wait_until(lambda: len(batches(home)) >= 3)
    kept = len(batches(home))
    assert stop_build(home, HERE)
    wait_until(lambda: not home.is_being_built, 20)
    assert not_taken_up(home).stopped
    assert newest(home) is None
    all_is_well(home, kept)
    goes_on_where_it_was(home, built_by_one)


def _publish(home, hand_in: int) -> None:
    (home.published / "warehouse.duckdb").touch()
    names = ("built_at", "as_of", "kind", "shape")
    card = {"warehouse": "warehouse.duckdb", "hand_in": hand_in} | dict.fromkeys(names, "")
    (home.published / f"{hand_in:06d}.json").write_text(json.dumps(card))
