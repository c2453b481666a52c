"""The frame is told what it needs, and every other answer goes through as it was."""

from __future__ import annotations

import pytest
from starlette.applications import Starlette
from starlette.middleware import Middleware
from starlette.middleware.gzip import GZipMiddleware
from starlette.responses import FileResponse, HTMLResponse, PlainTextResponse
from starlette.routing import Route
from starlette.testclient import TestClient

from dashboard.frame import FILES, WHERE_SERVED, Frame, told

FRAME = (FILES / "index.html").read_text(encoding="utf-8")
BY_BROWSER = {"accept": "text/html,application/xhtml+xml,*/*;q=0.8"}


async def _frame(request):
    return FileResponse(FILES / "index.html", headers={"cache-control": "no-cache"})


async def _words(request):
    return PlainTextResponse('<script type="module"', headers={"etag": "x"})


async def _missing(request):
    return HTMLResponse('<script type="module"', 404)


@pytest.fixture
def client():
    routes = [Route("/words", _words), Route("/missing", _missing), Route("/{page}", _frame)]
    packed = [Middleware(Frame), Middleware(GZipMiddleware)]
    return TestClient(Starlette(routes=routes, middleware=packed))


def test_a_page_comes_with_where_its_server_is_before_its_own_programs(client):
    answer = client.get("/session?session=T1", headers=BY_BROWSER)
    added = f"<script>{WHERE_SERVED}</script>"
    assert answer.text.replace(told(), "", 1) == FRAME
    assert answer.text.index(added) < answer.text.index('<script type="module"')
    assert answer.headers["content-length"] == str(len(answer.content))
    assert answer.headers["cache-control"] == "no-cache"


def test_the_programs_named_are_there():
    named = [part.split('"')[0] for part in told().split('href="./')[1:]]
    assert named
    assert all((FILES / name).is_file() for name in named)


def test_a_frame_kept_from_before_is_not_taken_for_this_one(client):
    first = client.get("/bike", headers=BY_BROWSER)
    assert not {"etag", "last-modified"} & set(first.headers)
    plain = client.get("/bike", headers={"accept": "*/*"})
    since = {"if-none-match": plain.headers["etag"], "accept-encoding": "gzip"}
    again = client.get("/bike", headers=BY_BROWSER | since)
    assert (again.status_code, again.text) == (200, first.text)


def test_what_is_no_page_goes_through_as_it_was(client):
    assert client.get("/bike", headers={"accept": "*/*"}).text == FRAME
    words = client.get("/words", headers=BY_BROWSER)
    assert (words.text, words.headers["etag"]) == ('<script type="module"', "x")
    missing = client.get("/missing", headers=BY_BROWSER)
    assert (missing.status_code, missing.text) == (404, '<script type="module"')
    head = client.head("/bike", headers=BY_BROWSER)
    assert head.headers["content-length"] == str(len(FRAME.encode()))
