"""Refuse what another site's page asks of this machine, before Streamlit looks at it.

A page of any site can have a reader's browser call at this machine. Streamlit refuses such a
connection too, but asks a service outside for this machine's address first: nothing of ours is to
go out because a stranger knocked.
"""

from __future__ import annotations

from urllib.parse import urlsplit

from starlette.datastructures import Headers
from starlette.responses import PlainTextResponse
from starlette.types import ASGIApp, Receive, Scope, Send

_SAFE = ("GET", "HEAD", "OPTIONS")


class OwnOrigin:
    """The middleware: connections and changes must come from a page of the same address.

    Programs that send no ``Origin`` are let through: no browser leaves it out of these. Hosts are
    looked at before (Starlette's own ``TrustedHostMiddleware``).
    """

    def __init__(self, app: ASGIApp) -> None:
        self._app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Let a request through, or answer that it is refused."""
        if _asks_more(scope) and not _is_own(Headers(scope=scope)):
            refused = PlainTextResponse("Not asked for by a page of this server.", 403)
            await refused(scope, receive, send)
            return
        await self._app(scope, receive, send)


def _asks_more(scope: Scope) -> bool:
    return scope["type"] == "websocket" or (
        scope["type"] == "http" and scope["method"] not in _SAFE
    )


def _is_own(headers: Headers) -> bool:
    origin = headers.get("origin")
    if origin is None:
        return True
    try:
        parts = urlsplit(origin)
    except ValueError:
        return False
    return parts.scheme == "http" and parts.netloc == headers.get("host", "")
