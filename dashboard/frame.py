"""Tell the frame of a page what it would have to find out, and would wait for.

A frame loaded at a page's address looks for its server below that address first, and goes on to
the right place a tenth of a second after it found none. What draws markup it asks for only once
there is some.
"""

from __future__ import annotations

from pathlib import Path

import streamlit
from starlette.datastructures import Headers, MutableHeaders
from starlette.types import ASGIApp, Message, Receive, Scope, Send

FILES = Path(streamlit.__file__).parent / "static"
#: Run in the frame before its own programs. It is let in by its hash, so it must stay one text.
WHERE_SERVED = "window.__streamlit = { BACKEND_BASE_URL: location.origin };"
_DRAW_MARKUP = ("static/js/Html.*.js", "static/js/purify.es.*.js")
_BEFORE = b'<script type="module"'
#: An answer from an earlier visit, or a packed one, could not be added to.
_NOT_ASKED = (b"accept-encoding", b"if-none-match", b"if-modified-since")


class Frame:
    """The middleware: what is asked for as a page comes with what its frame should know."""

    def __init__(self, app: ASGIApp) -> None:
        self._app = app
        self._told = told().encode()

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Let a request through, and add to the answer if that is the frame."""
        if not _asks_for_page(scope):
            await self._app(scope, receive, send)
            return
        headers = [(name, value) for name, value in scope["headers"] if name not in _NOT_ASKED]
        await self._app({**scope, "headers": headers}, receive, self._adding(send))

    def _adding(self, send: Send) -> Send:
        begun: list[Message] = []
        body = bytearray()

        async def sent(message: Message) -> None:
            if message["type"] == "http.response.start" and _is_markup(message):
                begun.append(message)
            elif not begun:
                await send(message)
            else:
                body.extend(message.get("body", b""))
                if not message.get("more_body", False):
                    await self._send_whole(begun[0], bytes(body), send)

        return sent

    async def _send_whole(self, start: Message, frame: bytes, send: Send) -> None:
        whole = frame.replace(_BEFORE, self._told + _BEFORE, 1)
        headers = MutableHeaders(scope=start)
        headers["content-length"] = str(len(whole))
        for name in ("etag", "last-modified"):  # they speak of the file alone
            del headers[name]
        await send(start)
        await send({"type": "http.response.body", "body": whole})


def told() -> str:
    """The markup that is added."""
    programs = [path for pattern in _DRAW_MARKUP for path in sorted(FILES.glob(pattern))]
    links = [
        f'<link rel="modulepreload" crossorigin href="./{path.relative_to(FILES).as_posix()}">'
        for path in programs
    ]
    return "".join([f"<script>{WHERE_SERVED}</script>", *links])


def _asks_for_page(scope: Scope) -> bool:
    return (
        scope["type"] == "http"
        and scope["method"] == "GET"
        and "text/html" in Headers(scope=scope).get("accept", "")
    )


def _is_markup(start: Message) -> bool:
    kind = Headers(scope=start).get("content-type", "")
    return start["status"] == 200 and kind.startswith("text/html")
