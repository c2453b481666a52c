"""Entries are taken up by a build begun in the background, once, and a failed one is told."""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta

import pytest

from pipeline.intake.typed.entries import save_entry
from pipeline.jobs import take_up as job
from pipeline.jobs.how_far import HowFar
from pipeline.jobs.progress import LongWork
from pipeline.jobs.take_up import QUIET, STARTING, not_taken_up, take_up, take_up_if_due

NOW = datetime(2026, 6, 1, 12, tzinfo=UTC)
SHOP = {"shops": [{"shop_id": "s1", "name": "Weir Lane"}]}


@pytest.fixture
def begun(monkeypatch):
    """Commands begun, none of which runs."""
    commands: list[list[str]] = []
    monkeypatch.setattr(job.subprocess, "Popen", lambda command, **how: commands.append(command))
    return commands


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


def _publish(home, hand_in: int) -> None:
    (home.published / "warehouse.duckdb").touch()
    names = ("built_at", "as_of", "kind", "shape")
    card = {"warehouse": "warehouse.duckdb", "hand_in": hand_in} | dict.fromkeys(names, "")
    (home.published / f"{hand_in:06d}.json").write_text(json.dumps(card))
