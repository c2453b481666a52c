"""This machine's own pages alone are answered, and nothing is asked outside because of others."""

from __future__ import annotations

import pytest
from starlette.applications import Starlette
from starlette.responses import PlainTextResponse
from starlette.routing import Route, WebSocketRoute
from starlette.testclient import TestClient
from starlette.websockets import WebSocketDisconnect
from streamlit.runtime.pages_manager import PagesManager

HOST = "127.0.0.1:8650"
OURS = f"http://{HOST}"


async def _answer(request):
    return PlainTextResponse("reached")


async def _connect(socket):
    await socket.accept()
    await socket.close()


@pytest.fixture
def client(monkeypatch):
    """What stands before Streamlit, with an answer of ours in its place."""
    monkeypatch.setattr(PagesManager, "uses_pages_directory", None)
    from dashboard.served import app

    monkeypatch.setattr("dashboard.ahead.read_ahead", lambda *of: None)
    routes = [Route("/{path:path}", _answer, methods=["GET", "PUT"])]
    routes.insert(0, WebSocketRoute("/stream", _connect))
    return TestClient(Starlette(routes=routes, middleware=app._user_middleware), base_url=OURS)


@pytest.mark.parametrize("host", ["evil.example", "evil.example:8650", "127.0.0.1.evil.example"])
def test_other_names_of_this_machine_get_nothing(client, host):
    assert client.get("/", headers={"host": host}).status_code == 400


@pytest.mark.parametrize(
    "origin", ["http://evil.example", "https://127.0.0.1:8650", "http://127.0.0.1:9999", "null", ""]
)
def test_pages_of_other_sites_can_neither_connect_nor_change(client, origin):
    with (
        pytest.raises(WebSocketDisconnect),
        client.websocket_connect("/stream", headers={"host": HOST, "origin": origin}),
    ):
        pass
    assert client.put("/upload", headers={"origin": origin}).status_code == 403
    assert client.get("/", headers={"origin": origin}).status_code == 200


@pytest.mark.parametrize("headers", [{"origin": OURS}, {}])
def test_our_own_pages_and_programs_that_are_no_browser_may(client, headers):
    with client.websocket_connect("/stream", headers={"host": HOST, **headers}):
        pass
    assert client.put("/upload", headers=headers).text == "reached"
