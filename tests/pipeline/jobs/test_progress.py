"""How far long work is: on the terminal, in lines, and on the card that pages read."""

from __future__ import annotations

import re

import pytest

from pipeline.jobs import progress
from pipeline.jobs.how_far import HowFar, how_far
from pipeline.jobs.progress import LongWork


@pytest.fixture
def clock(monkeypatch):
    """A clock that only the test moves."""
    now = [0.0]
    monkeypatch.setattr(progress.time, "monotonic", lambda: now[0])
    return now


def test_a_card_tells_stage_parts_done_and_seconds_left(home, clock):
    work = LongWork(card=home.building_now)
    with home.one_builder():
        work.stage("Estimating risk")
        assert how_far(home) == HowFar("Estimating risk")
        with work.counted("Measuring sweeps", "sweep", 40) as step:
            assert how_far(home) == HowFar("Measuring sweeps", 0, 40, "sweep")
            clock[0] = 5.0
            step(10)
            assert how_far(home) == HowFar("Measuring sweeps", 10, 40, "sweep", 15.0)
            clock[0] = 5.1
            step(10)  # too soon to be written again
            assert how_far(home).done == 10
    assert how_far(home) is None


def test_what_is_between_is_done_before_each_stage_and_not_before_one_without_parts():
    done = []
    work = LongWork(say=done.append, between=lambda: done.append("between"))
    work.stage("Estimating risk")
    assert list(work.each("Measuring sweeps", "sweep", [])) == []
    assert list(work.each("Looking back", "date", [1, 2])) == [1, 2]
    assert done == ["between", "Estimating risk", "between", "Looking back"]


def test_a_card_left_by_a_killed_builder_says_nothing(home):
    LongWork(card=home.building_now).stage("Estimating risk")
    assert home.building_now.exists()
    assert how_far(home) is None


@pytest.mark.parametrize("card", ["", "[]", '{"stage": 1, "more": 2}', "{"])
def test_a_damaged_card_says_nothing(home, card):
    with home.one_builder():
        home.building_now.write_text(card)
        assert how_far(home) is None


def test_a_card_that_cannot_be_written_stops_nothing(tmp_path):
    with LongWork(card=tmp_path / "gone" / "card").counted("Measuring", "sweep", 2) as step:
        step(2)


def test_lines_are_written_at_intervals_and_at_the_end_with_rate_and_time_left(capsys, clock):
    with LongWork(bars=True).counted("Measuring sweeps", "sweep", 400) as step:
        for at in range(1, 41):
            clock[0] = float(at)
            step(10)
    said = capsys.readouterr().err.splitlines()
    assert [re.search(r"(\d+)/400", line)[1] for line in said] == ["100", "200", "300", "400"]
    assert said[0] == "Measuring sweeps:  25% 100/400 [00:10<00:30, 10.00sweep/s]"


def test_without_bars_a_stage_is_said_once_and_one_with_nothing_to_do_never(capsys):
    said: list[str] = []
    work = LongWork(say=said.append)
    assert list(work.each("Reading", "file", ["a", "b"])) == ["a", "b"]
    assert list(work.each("Looking back", "date", [])) == []
    assert said == ["Reading"]
    assert capsys.readouterr().err == ""
