"""Connections of the server that Streamlit runs are set to send at once."""

from __future__ import annotations

import http.client
import socket
import threading
from contextlib import contextmanager

import pytest
import uvicorn
from starlette.applications import Starlette
from starlette.middleware import Middleware
from starlette.responses import PlainTextResponse
from starlette.routing import Route
from streamlit.web.server.starlette.starlette_server import _bind_socket

from dashboard.sent_at_once import SentAtOnce, hold_nothing_back


async def _held_back(request):
    """Whether the connection that the request came by holds small pieces back."""
    connection = request.receive.__self__.transport.get_extra_info("socket")
    return PlainTextResponse(str(connection.getsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY)))


@contextmanager
def _served(*middleware):
    """An application as Streamlit serves one: on a socket of its making; the port."""
    app = Starlette(routes=[Route("/", _held_back)], middleware=middleware)
    listening = _bind_socket("127.0.0.1", 0, 8)
    server = uvicorn.Server(uvicorn.Config(app, log_level="error", lifespan="off"))
    thread = threading.Thread(target=server.run, kwargs={"sockets": [listening]}, daemon=True)
    thread.start()
    try:
        yield listening.getsockname()[1]
    finally:
        server.should_exit = True
        thread.join(10)


def _answered(port):
    connection = http.client.HTTPConnection("127.0.0.1", port, timeout=10)
    try:
        connection.request("GET", "/")
        return connection.getresponse().read()
    finally:
        connection.close()


def test_small_pieces_are_held_back_unless_we_say_so():
    with _served() as port:
        assert _answered(port) == b"0"
    with _served(Middleware(SentAtOnce)) as port:
        assert _answered(port) != b"0"


@pytest.mark.parametrize("receive", [None, lambda: None, "".join])
def test_where_the_connection_cannot_be_reached_nothing_is_done(receive):
    assert hold_nothing_back(receive) is False
