"""What a page will show is read ahead for whoever may see it, and every request goes through."""

from __future__ import annotations

import asyncio
from concurrent.futures import ThreadPoolExecutor

import pytest

from dashboard import ahead, records
from dashboard.ahead import MOST_WAITING, VIEWS, Ahead, read_ahead
from pipeline.access.worklist_view import WorklistAsked, worklist_found
from pipeline.asker import Asker
from pipeline.home import demo_home, own_home
from tests.askers import HERE


async def _answered(scope, receive, send):
    await send(scope["path"])


def _ask(app, path, query="", **scope):
    sent = []

    async def send(message):
        sent.append(message)

    whole = {"type": "http", "method": "GET", "path": path, "query_string": query.encode()}
    with ThreadPoolExecutor(1) as apart:  # where no other loop of the tests is running
        apart.submit(asyncio.run, app(whole | scope, None, send)).result()
    return sent


def _over(app):
    app._readers.shutdown(wait=True)


@pytest.fixture
def asked(monkeypatch):
    """What was read ahead, in place of any home."""
    found = []
    monkeypatch.setattr(ahead, "NO_FILE_ASKED_FOR_S", 0.0)
    monkeypatch.setattr(ahead, "read_ahead", lambda *of: found.append(of))
    return found


def test_a_pages_view_is_read_and_the_request_goes_on(asked):
    app = Ahead(_answered, lambda scope: HERE)
    assert _ask(app, "/session", "session=T+1&x=2") == ["/session"]
    _over(app)
    assert asked == [(HERE, "session", {"session": ["T 1"], "x": ["2"]})]


def _waited_by(monkeypatch, *files_s):
    """When reading begins, s after a page asked for at 100 s, with files asked for at some times."""
    now, files = [100.0], [100.0 + after for after in files_s]
    app = Ahead(_answered, lambda scope: HERE)

    def sleep(seconds):
        until = now[0] + seconds
        for at in [at for at in files if now[0] < at <= until]:
            now[0] = at
            app._begin({"path": "/static/js/index.js"})
        now[0] = until

    begun = []
    monkeypatch.setattr(ahead.time, "monotonic", lambda: now[0])
    monkeypatch.setattr(ahead.time, "sleep", sleep)
    monkeypatch.setattr(ahead, "read_ahead", lambda *of: begun.append(now[0] - 100.0))
    app._begin({"path": "/fleet"})
    _over(app)
    return begun


def test_reading_begins_once_no_file_of_the_frame_was_asked_for_a_while(monkeypatch):
    assert _waited_by(monkeypatch) == pytest.approx([0.15])
    assert _waited_by(monkeypatch, 0.1, 0.2) == pytest.approx([0.35])


def test_reading_waits_no_longer_than_so_long_whatever_is_asked_for(monkeypatch):
    files = [0.1 * n for n in range(1, 40)]
    assert _waited_by(monkeypatch, *files) == pytest.approx([0.8])


@pytest.mark.parametrize(
    "scope",
    [
        {"path": "/static/js/index.js"},
        {"path": "/_stcore/health"},
        {"path": "/session", "method": "POST"},
        {"path": "/session", "type": "websocket"},
    ],
)
def test_nothing_is_read_for_what_is_no_page(asked, scope):
    app = Ahead(_answered, lambda scope: HERE)
    assert _ask(app, **scope) == [scope["path"]]
    _over(app)
    assert asked == []


def test_nothing_is_read_for_nobody(asked):
    app = Ahead(_answered, lambda scope: None)
    _ask(app, "/")
    _over(app)
    assert asked == []


def test_what_goes_wrong_stops_no_request_and_no_later_reading(asked, monkeypatch):
    app = Ahead(_answered, lambda scope: {}["nobody"] if scope["path"] == "/bike" else HERE)
    assert _ask(app, "/bike", "unit=B1") == ["/bike"]
    assert _ask(app, "/fleet") == ["/fleet"]
    _over(app)
    assert [page for _, page, _ in asked] == ["fleet"]
    assert all(app._places.acquire(blocking=False) for _ in range(MOST_WAITING))


def test_no_more_than_so_many_wait(asked):
    app = Ahead(_answered, lambda scope: HERE)
    for _ in range(MOST_WAITING):
        app._places.acquire()
    _ask(app, "/fleet")
    _over(app)
    assert asked == []


def test_the_page_then_finds_its_view_read(stocked_home, monkeypatch):
    monkeypatch.setenv("WEAR_ATLAS_HOME", str(stocked_home.root))
    records._KEPT.forget()
    rows = worklist_found(stocked_home, HERE, WorklistAsked())
    unit_id = rows["unit_id"].iloc[0]
    session_id = rows["last_session_id"].dropna().iloc[0]
    query = {"unit": [unit_id], "session": [session_id]}
    for page in VIEWS:
        read_ahead(HERE, page, query if page else {})
    kept = {key[0] for key in records._KEPT._found}
    assert kept >= {"worklist_view", "bike_view", "session_view", "bench_view", "fleet_view"}
    assert "worklist_leaf" in kept
    assert own_home() != demo_home()
    monkeypatch.setattr(records.views, "session_view", lambda *of: pytest.fail("read again"))
    shown = records.shown_to(lambda: HERE, demo_first=False)
    assert records.session(shown, session_id).session["session_id"] == session_id


def test_what_is_not_there_or_not_ones_own_is_left_to_the_page(stocked_home, monkeypatch):
    monkeypatch.setenv("WEAR_ATLAS_HOME", str(stocked_home.root))
    records._KEPT.forget()
    read_ahead(HERE, "session", {"session": ["no such test"]})
    read_ahead(HERE, "bike", {})
    read_ahead(Asker("t", "technician", frozenset({"s"}), None), "costs", {})
    assert not {key[0] for key in records._KEPT._found} & {"session_view", "bike_view"}
