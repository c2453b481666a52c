"""Send every answer as soon as it is written.

Streamlit opens its socket in such a way that the system holds a second small piece back until the
browser has said that the first arrived, and browsers take 40 ms over that: head and body of an
answer are two pieces, and the frame of a page is sixty answers.
"""

from __future__ import annotations

import asyncio
import socket

from starlette.types import ASGIApp, Receive, Scope, Send


class SentAtOnce:
    """The middleware: no connection that a request comes by holds small pieces back."""

    def __init__(self, app: ASGIApp) -> None:
        self._app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Settle the request's connection, and let it through."""
        hold_nothing_back(receive)
        await self._app(scope, receive, send)


def hold_nothing_back(receive: Receive) -> bool:
    """Whether the connection behind a request was found, and set to send at once.

    The server hands no connection to an application; what it hands over to receive by is a method
    of what holds it. Where that is otherwise, everything works as before and takes its time.
    """
    transport = getattr(getattr(receive, "__self__", None), "transport", None)
    if not isinstance(transport, asyncio.BaseTransport):
        return False
    connection = transport.get_extra_info("socket")
    if connection is None or connection.family not in (socket.AF_INET, socket.AF_INET6):
        return False
    connection.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
    return True
