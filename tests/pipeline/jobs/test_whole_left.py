"""How long a whole build may still take: from earlier ones, roughly, and only where that is known."""

from __future__ import annotations

import json

import pytest

from pipeline.intake.typed.entries import save_entry
from pipeline.jobs import whole_left
from pipeline.jobs.how_far import HowFar, how_far
from pipeline.jobs.ingest import rebuild
from pipeline.jobs.progress import LongWork
from pipeline.jobs.whole_left import Stages, Took, earlier_stages, keep_stages

SHOP = {"shops": [{"shop_id": "s1", "name": "Weir Lane"}]}
EARLIER = {
    "the rest": Took(5.0, counted=False),
    "Measuring": Took(100.0, counted=True),
    "Estimating": Took(40.0, counted=False),
    "Drawing": Took(50.0, counted=True),
    "Planning": Took(20.0, counted=False),
    "Looking back": Took(300.0, counted=True),
}


@pytest.fixture
def clock(monkeypatch):
    """A clock that only the test moves."""
    now = [1_000.0]
    monkeypatch.setattr(whole_left.time, "monotonic", lambda: now[0])
    return now


def _built(stages: Stages, clock, *, measuring_s=0.0, drawing_s=0.0, looking_s=0.0) -> None:
    """A build as builds go, stages of no length being left out."""
    if measuring_s:
        stages.begin("Measuring", counted=True)
        clock[0] += measuring_s
        stages.end_counted()
    clock[0] += 5.0
    stages.begin("Estimating")
    clock[0] += 30.0
    if drawing_s:
        stages.begin("Drawing", counted=True)
        clock[0] += drawing_s
        stages.end_counted()
    clock[0] += 10.0
    stages.begin("Planning")
    clock[0] += 20.0
    if looking_s:
        stages.begin("Looking back", counted=True)
        clock[0] += looking_s
        stages.end_counted()


def test_stages_are_kept_in_order_the_uncounted_without_the_counted_within_them(home, clock):
    save_entry(home, SHOP)
    first = Stages()
    _built(first, clock, measuring_s=100.0, drawing_s=50.0, looking_s=300.0)
    keep_stages(home, first)
    kept = earlier_stages(home)
    assert kept == EARLIER
    assert list(kept) == list(EARLIER)


def test_what_did_not_come_stays_known_and_the_longest_of_a_counted_stage_counts(home, clock):
    save_entry(home, SHOP)
    second = Stages(EARLIER)
    second.begin("Measuring", counted=True)
    clock[0] += 1.0
    second.end_counted()
    second.begin("Estimating")
    clock[0] += 35.0
    second.begin("Planning")
    clock[0] += 25.0
    keep_stages(home, second)
    kept = earlier_stages(home)
    assert list(kept) == list(EARLIER)
    assert kept["Measuring"].took_s == 100.0
    assert kept["Looking back"].took_s == 300.0
    assert (kept["Estimating"].took_s, kept["Planning"].took_s) == (35.0, 25.0)


def test_least_is_what_always_comes_and_most_all_that_has_not_begun(clock):
    stages = Stages(EARLIER)
    stages.begin("Measuring", counted=True)
    assert stages.left_s(None) is None
    assert stages.left_s(80.0) == (80 + 5 + 40 + 20, 80 + 5 + 40 + 20 + 50 + 300)
    clock[0] += 200.0
    stages.end_counted()
    stages.begin("Estimating")
    clock[0] += 30.0
    assert stages.left_s() == (10 + 20, 10 + 20 + 50 + 300)
    stages.begin("Drawing", counted=True)
    clock[0] += 45.0
    assert stages.left_s(5.0) == (5 + 10 + 20, 5 + 10 + 20 + 300)
    stages.end_counted()
    clock[0] += 10.0
    stages.begin("Planning")
    assert stages.left_s() == (20, 320)
    clock[0] += 20.0
    stages.begin("Looking back", counted=True)
    assert stages.left_s(250.0) == (250, 250)


def test_a_stage_that_takes_longer_than_ever_or_never_came_leaves_nothing_to_tell(clock):
    stages = Stages(EARLIER)
    stages.begin("Estimating")
    clock[0] += 41.0
    assert stages.left_s() is None
    stages.begin("Something new")
    assert stages.left_s() is None
    assert Stages().left_s() is None


def test_where_much_more_was_handed_in_nothing_is_known(home, clock):
    save_entry(home, SHOP)
    keep_stages(home, Stages(EARLIER))
    assert earlier_stages(home) == EARLIER
    save_entry(home, SHOP)
    assert earlier_stages(home) == {}


@pytest.mark.parametrize("card", ["", "[]", "{", '{"handed_in_bytes": 1, "stages": {"A": 3}}'])
def test_a_damaged_card_tells_nothing(home, card):
    home.stages_took.write_text(card)
    assert earlier_stages(home) == {}


@pytest.mark.parametrize(
    ("whole_s", "age_s", "said"),
    [
        (None, 0.0, ""),
        ((100.0, 130.0), 0.0, "about 2 minutes"),
        ((70.0, 340.0), 0.0, "about 1 minute to 6 minutes"),
        ((70.0, 340.0), 60.0, "about half a minute to 5 minutes"),
        ((70.0, 340.0), 341.0, ""),
        ((10_000.0, 10_000.0), 0.0, "about 3 hours"),
    ],
)
def test_it_is_told_roughly_and_grows_old(whole_s, age_s, said):
    assert HowFar("Estimating", whole_s=whole_s, age_s=age_s).whole_left == said


def test_terminal_and_card_tell_it(home, clock, capsys):
    said: list[str] = []
    work = LongWork(say=said.append, bars=True, card=home.building_now, stages=Stages(EARLIER))
    with home.one_builder():
        work.stage("Estimating")
        assert said == ["Estimating (about 1 minute to 7 minutes left of the whole)"]
        assert how_far(home).whole_s == (60.0, 410.0)
        with work.counted("Drawing", "part", 4) as step:
            clock[0] += 20.0
            step(2)
            assert how_far(home).whole_s == (20.0 + 40 + 20, 20.0 + 40 + 20 + 300)
    assert "(about 1 minute to 6 minutes left of the whole)" in capsys.readouterr().err


def test_a_build_keeps_the_times_of_its_stages_for_the_next(home):
    save_entry(home, SHOP)
    rebuild(home)
    kept = json.loads(home.stages_took.read_text())
    assert list(kept["stages"])[-1] == "Planning checks"
    said: list[str] = []
    rebuild(home, say=said.append)
    assert any(line.startswith("Estimating risk (about half a minute") for line in said)
