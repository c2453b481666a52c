"""Which sign-ins hold: their claims, how long they last, and which were ended before that.

A sign-in is what the provider said of a person, kept by their browser in a cookie that only this
process can sign. It holds from the moment at which the provider saw the person, for the hours
set; and no longer than this process, whose signing key is made anew at each start.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Mapping

from streamlit.web.server.starlette.starlette_server_config import USER_COOKIE_NAME
from streamlit.web.server.starlette.starlette_websocket import (
    _get_signed_cookie_with_chunks,
    _parse_decoded_user_cookie,
)

Claims = Mapping[str, object]
#: A provider's clock may be this far before ours.
CLOCKS_APART_S = 300


class SignIns:
    """The sign-ins of one server."""

    def __init__(self, origin: str, hours: float, now: Callable[[], float] = time.time) -> None:
        self.lasts_s = hours * 3600
        self._origin, self._now = origin, now
        self._ended: dict[tuple[object, ...], float] = {}

    def of_cookies(self, cookies: Mapping[str, str]) -> Claims | None:
        """The claims of the sign-in that the cookies of a request hold; None where none holds."""
        signed = _get_signed_cookie_with_chunks(dict(cookies), USER_COOKIE_NAME)
        claims = _parse_decoded_user_cookie(signed, self._origin) if signed else {}
        return claims if self.holds(claims) else None

    def holds(self, claims: Claims) -> bool:
        """Whether these are the claims of a sign-in that is neither over nor ended."""
        began = _began_at(claims)
        if claims.get("is_logged_in") is not True or began is None or not claims.get("sub"):
            return False
        age_s = self._now() - began
        return -CLOCKS_APART_S <= age_s < self.lasts_s and _name(claims) not in self._ended

    def end(self, claims: Claims) -> None:
        """Sign out: from now on no copy of the cookie is worth anything."""
        now = self._now()
        self._ended = {name: until for name, until in self._ended.items() if until > now}
        self._ended[_name(claims)] = now + self.lasts_s + CLOCKS_APART_S


def _began_at(claims: Claims) -> float | None:
    """When the provider saw the person, else when it gave its word; None where it says neither."""
    for name in ("auth_time", "iat"):
        value = claims.get(name)
        if isinstance(value, (int, float)) and not isinstance(value, bool):
            return float(value)
    return None


def _name(claims: Claims) -> tuple[object, ...]:
    """What tells one sign-in from all others: the nonce is drawn anew for each."""
    return tuple(str(claims.get(key)) for key in ("iss", "sub", "iat", "nonce"))
