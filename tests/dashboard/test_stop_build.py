"""A page says what a build is at, lets an owner stop it, and says what came of that."""

from __future__ import annotations

import pytest

from pipeline.asker import OWNER, TECHNICIAN, Asker
from pipeline.home import HomeError
from pipeline.jobs import take_up
from pipeline.jobs.how_far import HowFar
from pipeline.jobs.take_up import NotTakenUp
from tests.dashboard.page_app import page_at, words_of

AT = HowFar("Measuring sweeps", 312, 1_088, "sweep", 41.2)
AT_WORK = NotTakenUp(2, None, building=True, failed="", how_far=AT, can_stop=True)
STOPPED = NotTakenUp(2, None, building=False, failed="", stopped=True)


@pytest.fixture
def now(own_shop, monkeypatch):
    """Set what waits, until it is stopped; what is pressed for."""
    state = {"waiting": AT_WORK, "stopped_by": [], "begun": 0}

    def stop(home, asker):
        state["stopped_by"].append(asker.name)
        state["waiting"] = STOPPED
        return True

    def begin(home):
        state["begun"] += 1
        state["waiting"] = AT_WORK

    monkeypatch.setattr(take_up, "not_taken_up", lambda home, now=None: state["waiting"])
    monkeypatch.setattr("dashboard.surround.stop_build", stop)
    monkeypatch.setattr("dashboard.surround.take_up", begin)
    return state


def _keys(app) -> set[str]:
    return {button.key for button in app.button} & {"take_up", "stop_build"}


def _as(monkeypatch, asker: Asker) -> None:
    for module in ("records", "surround", "signing_in"):
        monkeypatch.setattr(f"dashboard.{module}.who_asks", lambda: asker)


def test_a_build_is_stopped_from_a_page_and_begun_again(now):
    app = page_at("bench")
    assert "they are being taken up now (measuring sweeps, 28 % done" in words_of(app)
    assert _keys(app) == {"stop_build"}
    app.button(key="stop_build").click().run()
    assert now["stopped_by"] == ["this machine"]
    assert "was stopped, so that the records are not up to date" in words_of(app)
    assert _keys(app) == {"take_up"}
    app.button(key="take_up").click().run()
    assert now["begun"] == 1
    assert "they are being taken up now" in words_of(app)


def test_a_build_that_is_being_stopped_can_neither_be_stopped_nor_begun(now):
    now["waiting"] = NotTakenUp(2, None, building=True, failed="", how_far=AT, stopped=True)
    app = page_at("bench")
    assert "The build is being stopped." in words_of(app)
    assert _keys(app) == set()


def test_a_build_from_a_terminal_is_told_and_not_stopped_here(now):
    now["waiting"] = NotTakenUp(0, None, building=True, failed="", how_far=AT)
    app = page_at("bench")
    assert "The records are being worked out anew (measuring sweeps, 28 % done" in words_of(app)
    assert _keys(app) == set()


@pytest.mark.parametrize(
    ("asker", "keys"),
    [
        (Asker("tess", TECHNICIAN), set()),
        (Asker("otto", OWNER, frozenset({"s1"})), set()),
        (Asker("ben", OWNER), {"stop_build"}),
    ],
)
def test_only_an_owner_who_sees_all_is_offered_to_stop_it(now, monkeypatch, asker, keys):
    _as(monkeypatch, asker)
    app = page_at("bench")
    assert "they are being taken up now" in words_of(app)
    assert _keys(app) == keys


def test_a_build_that_could_not_be_stopped_is_said_so(now, monkeypatch):
    def refuse(home, asker):
        raise HomeError("The build is another user's, who alone can stop it.")

    monkeypatch.setattr("dashboard.surround.stop_build", refuse)
    app = page_at("bench")
    app.button(key="stop_build").click().run()
    assert "It was not stopped: The build is another user" in words_of(app)
    assert "they are being taken up now" in words_of(app)


def test_nothing_is_said_where_nothing_waits_and_nothing_is_built(now):
    now["waiting"] = NotTakenUp(0, None, building=False, failed="")
    app = page_at("bench")
    assert _keys(app) == set()
    assert "worked out anew" not in words_of(app)
