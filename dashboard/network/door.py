"""What stands before everything served on the network: who may knock, and who is let in.

Each request and each message of a page's connection comes through here before Streamlit sees it.
The host was looked at before (Starlette's own ``TrustedHostMiddleware``).
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from urllib.parse import quote, unquote, urlsplit

from starlette.datastructures import Headers, MutableHeaders
from starlette.requests import cookie_parser
from starlette.responses import PlainTextResponse, RedirectResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send
from streamlit.proto.ForwardMsg_pb2 import ForwardMsg
from streamlit.web.server.starlette.starlette_server_config import (
    TOKENS_COOKIE_NAME,
    USER_COOKIE_NAME,
)

from dashboard.network.headers import security_headers
from dashboard.network.sign_ins import Claims, SignIns
from pipeline.intake.settings.network_file import Network

_SAFE = ("GET", "HEAD", "OPTIONS")
#: Below this Streamlit answers machines, not readers: only what a page needs stays open.
_CORE = "/_stcore/"
_OPEN_CORE = ("/_stcore/health", "/_stcore/host-config", "/_stcore/stream")
_SIGNED_IN_CORE = ("/_stcore/upload_file/", "/_stcore/bidi-components/")
#: Files that pages offer: their addresses are no secret, so the sign-in is asked for.
_SIGNED_IN = ("/media/", "/component/")
_LOGIN, _LOGOUT, _CALLBACK = "/auth/login", "/auth/logout", "/oauth2callback"
_BACK = "wear_atlas_back"
_BACK_LASTS_S = 900
_LONGEST_BACK = 1500
_OURS = re.compile(f"({USER_COOKIE_NAME}|{TOKENS_COOKIE_NAME})(_[0-9]+)?")


class Door:
    """The middleware.

    Other names of this machine lead on to the one that people sign in at. A connection or a
    change must come from our own pages (``Origin``). Files and uploads need a sign-in that
    holds, of somebody who ``has_part``; one that is over, or was ended, is taken out of the
    request, so that no page sees it, and a connection opened with it is cut at its next message.
    """

    def __init__(
        self,
        app: ASGIApp,
        network: Network,
        sign_ins: SignIns,
        has_part: Callable[[Claims], bool],
    ) -> None:
        self._app, self._network, self._sign_ins = app, network, sign_ins
        self._has_part = has_part
        self._headers = security_headers(network.authority)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request or connection, or let Streamlit answer it."""
        if scope["type"] not in ("http", "websocket"):
            await self._app(scope, receive, send)
            return
        headers = Headers(scope=scope)
        cookies = cookie_parser("; ".join(headers.getlist("cookie")))
        claims = self._sign_ins.of_cookies(cookies)
        sending = self._sending(scope, headers, cookies, send)
        refused = self._refusal(scope, headers, claims)
        if refused is not None:
            await refused(scope, receive, sending)
            return
        if claims is None:
            scope = _without_sign_in(scope, cookies)
        elif scope["path"] == _LOGOUT:
            self._sign_ins.end(claims)
        if scope["type"] == "websocket" and claims is not None:
            receive, sending = self._while_held(claims, receive, sending)
        await self._app(scope, receive, sending)

    def _refusal(self, scope: Scope, headers: Headers, claims: Claims | None) -> Response | None:
        """The answer to a request that Streamlit is not to see."""
        changes = scope["type"] == "websocket" or scope["method"] not in _SAFE
        if headers.get("host", "").lower() not in self._own_hosts():
            if changes:
                return PlainTextResponse("Not reached at this address.", 403)
            return RedirectResponse(self._network.origin + _path_asked_for(scope), 307)
        if changes and headers.get("origin") != self._network.origin:
            return PlainTextResponse("Not asked for by a page of this server.", 403)
        path = scope["path"]
        if path.startswith(_CORE) and not path.startswith(_OPEN_CORE + _SIGNED_IN_CORE):
            return PlainTextResponse("Not found", 404)
        if path.startswith(_SIGNED_IN_CORE + _SIGNED_IN):
            if claims is None:
                return PlainTextResponse("Sign in first.", 401)
            if not self._has_part(claims):
                return PlainTextResponse("You have no part here.", 403)
        return None

    def _own_hosts(self) -> tuple[str, ...]:
        """The address people sign in at, as browsers put it with and without the usual port."""
        authority = self._network.authority
        return (authority, f"{authority}:443") if authority == self._network.host else (authority,)

    def _while_held(self, claims: Claims, receive: Receive, send: Send) -> tuple[Receive, Send]:
        """Both ways of a connection, as long as the sign-in that opened it holds."""
        cut = {"type": "websocket.disconnect", "code": 1008, "reason": "signed out"}

        async def received() -> Message:
            message = await receive()
            if message["type"] != "websocket.receive" or self._sign_ins.holds(claims):
                return message
            await send({"type": "websocket.send", "bytes": _read_anew()})
            await send({"type": "websocket.close", "code": 1008, "reason": "signed out"})
            return cut

        async def sent(message: Message) -> None:
            if message["type"] != "websocket.send" or self._sign_ins.holds(claims):
                await send(message)

        return received, sent

    def _sending(
        self, scope: Scope, headers: Headers, cookies: Mapping[str, str], send: Send
    ) -> Send:
        """Answers with our headers, and cookies that travel by TLS alone."""

        async def sent(message: Message) -> None:
            if message["type"] in ("http.response.start", "websocket.http.response.start"):
                answer = MutableHeaders(scope=message)
                for name, value in self._headers.items():
                    answer[name] = value
                if not scope["path"].startswith("/static/"):
                    answer["cache-control"] = "no-store"
                self._lead_back(scope, headers, cookies, answer)
                _secure_cookies(answer, self._sign_ins.lasts_s)
            await send(message)

        return sent

    def _lead_back(
        self,
        scope: Scope,
        headers: Headers,
        cookies: Mapping[str, str],
        answer: MutableHeaders,
    ) -> None:
        """After signing in, the page one came from: Streamlit knows only the first one."""
        if scope["path"] == _LOGIN:
            back = _own_page(headers.get("referer", ""), self._network.origin)
            if back:
                answer.append("set-cookie", _back_cookie(back, _BACK_LASTS_S))
        elif scope["path"] == _CALLBACK and _BACK in cookies and answer.get("location") == "/":
            back = _own_page(self._network.origin + unquote(cookies[_BACK]), self._network.origin)
            answer["location"] = back or "/"
            answer.append("set-cookie", _back_cookie("", 0))


def _read_anew() -> bytes:
    """What makes an open page load again from its own address, to find nobody signed in."""
    message = ForwardMsg()
    message.auth_redirect.SetInParent()
    return message.SerializeToString()


def _path_asked_for(scope: Scope) -> str:
    query = scope.get("query_string", b"").decode("latin-1")
    path = "/" + quote(scope["path"].lstrip("/\\"))
    return path + (f"?{query}" if query else "")


def _own_page(address: str, origin: str) -> str:
    """Path and query of an address of our own; nothing of any other, nor of the sign-in itself."""
    if len(address) > _LONGEST_BACK or not address.isprintable() or "\\" in address:
        return ""
    try:
        parts = urlsplit(address)
    except ValueError:
        return ""
    if f"{parts.scheme}://{parts.netloc}" != origin or parts.path.startswith("//"):
        return ""
    if parts.path in (_LOGIN, _LOGOUT, _CALLBACK) or not parts.path.startswith("/"):
        return ""
    return parts.path + (f"?{parts.query}" if parts.query else "")


def _back_cookie(page: str, lasts_s: int) -> str:
    value = quote(page, safe="")
    return f"{_BACK}={value}; Path={_CALLBACK}; Max-Age={lasts_s}; HttpOnly; SameSite=Lax"


def _without_sign_in(scope: Scope, cookies: Mapping[str, str]) -> Scope:
    """The request without the cookies of a sign-in that does not hold."""
    kept = {name: value for name, value in cookies.items() if not _OURS.fullmatch(name)}
    if scope["path"] == _LOGOUT or len(kept) == len(cookies):
        return scope
    headers = [(name, value) for name, value in scope["headers"] if name != b"cookie"]
    if kept:
        line = "; ".join(f"{name}={value}" for name, value in kept.items())
        headers.append((b"cookie", line.encode("latin-1")))
    return {**scope, "headers": headers}


def _secure_cookies(answer: MutableHeaders, lasts_s: float) -> None:
    """Every cookie over TLS alone; those of a sign-in no longer than it lasts."""
    given = answer.getlist("set-cookie")
    if not given:
        return
    del answer["set-cookie"]
    for cookie in given:
        name = cookie.split("=", 1)[0].strip()
        fields = [field.strip() for field in cookie.split(";")]
        if _OURS.fullmatch(name):
            fields = [_shortened(field, lasts_s) for field in fields]
        if "secure" not in (field.lower() for field in fields):
            fields.append("Secure")
        answer.append("set-cookie", "; ".join(fields))


def _shortened(field: str, lasts_s: float) -> str:
    name, _, value = field.partition("=")
    if name.lower() != "max-age" or not value.isdecimal():
        return field
    return f"Max-Age={min(int(value), max(1, int(lasts_s)))}" if int(value) else field
