"""Who asks: the person at this machine, or on the shop's network the one signed in.

Every run of a page begins here (``dashboard/app.py``), and every read and entry asks again, so
that no address, form or part of a page is reached around it.
"""

from __future__ import annotations

import logging
from collections.abc import Mapping
from typing import NoReturn

import streamlit as st

from dashboard import look
from dashboard.markup import Html, joined, tag
from dashboard.network.in_force import PROVIDER, Served, network_served
from pipeline.asker import Asker, whoever_is_here
from pipeline.intake.settings.people_file import PeopleFileError, asker_of

SIGN_OUT = "auth/logout"
_LOG = logging.getLogger("dashboard")
_THIS_MACHINE = ("127.0.0.1", "::1", "localhost")
_OPEN = (
    "This dashboard was started so that other machines can reach it, and without sign-in. It shows "
    "nothing this way. Start it with python3 -m dashboard for this machine alone, or with "
    "python3 -m dashboard --network for the shop's network."
)
_NO_PART = (
    "Nobody has given you a part here yet, so nothing is shown. The owner of this dashboard gives "
    "it in the file people.toml; it counts from your next press on."
)
_NO_LIST = (
    "The list of who has which part cannot be read just now, so nobody is let in. The owner of "
    "this dashboard finds the reason in what it prints where it runs."
)


def who_asks() -> Asker:
    """The one to whom this run of a page answers; an argument of every read and every entry.

    Where nobody is signed in, or the person has no part, that is what the page says, and the run
    ends here.
    """
    served = network_served()
    if served is None:
        _refuse_open_server()
        return whoever_is_here()
    claims = st.user.to_dict()
    if not served.sign_ins.holds(claims):
        _ask_to_sign_in()
    return _part_of(served, claims)


def signed_in_as() -> str | None:
    """The name of who is signed in; None where nobody signs in."""
    return None if network_served() is None else who_asks().name


def reached_at() -> str | None:
    """The address at which the shop's network reaches this; None where only this machine does."""
    served = network_served()
    return None if served is None else served.network.origin


def sign_in_lasts() -> str:
    """How long a sign-in lasts, in words; empty where nobody signs in."""
    served = network_served()
    return "" if served is None else _hours(served.network.sign_in_hours)


def _part_of(served: Served, claims: Mapping[str, object]) -> Asker:
    try:
        asker = asker_of(served.home, claims)
    except PeopleFileError as error:
        _LOG.error("nobody is let in: %s", error)
        _say("Nobody is let in just now", _signed_in_words(claims), tag("p", _NO_LIST))
    if asker is None:
        _say("You have no part here yet", _signed_in_words(claims), tag("p", _NO_PART))
    return asker


def _ask_to_sign_in() -> NoReturn:
    """The page of those who are not signed in: what this is, and the one button."""
    _ground()
    lasts = f"A sign-in lasts {sign_in_lasts()}."
    said = tag("p", "This workshop's records are shown to those who have a part in it. ", lasts)
    st.html(joined([tag("h1", "Wear Atlas"), said]))
    if st.button("Sign in", key="sign_in", type="primary"):
        st.login(PROVIDER)
    st.stop()


def _say(heading: str, *body: Html) -> NoReturn:
    _ground()
    out = [] if network_served() is None else [tag("p", sign_out_link("Sign out"))]
    st.html(joined([tag("h1", heading), *body, *out]))
    st.stop()


def _signed_in_words(claims: Mapping[str, object]) -> Html:
    """Who the provider says one is, and what an owner needs to write down."""
    words = tag("p", "You are signed in as ", tag("strong", _called(claims)), ".")
    known = tag("p", "The provider's own name for you is ", tag("code", claims.get("sub")), ".")
    return joined([words, known])


def sign_out_link(words: str) -> Html:
    """The way out: a plain address, which needs no page to be drawn."""
    return tag("a", words, href=SIGN_OUT, class_="wa-pressed", target="_self")


def _called(claims: Mapping[str, object]) -> str:
    email = claims.get("email")
    if not isinstance(email, str):
        return str(claims.get("name") or claims.get("sub"))
    if claims.get("email_verified") is True:
        return email
    return f"{email} (an address that the provider has not verified)"


def _hours(hours: float) -> str:
    return "1 hour" if hours == 1 else f"{hours:g} hours"


def _ground() -> None:
    st.html(look.style_sheet())


def _refuse_open_server() -> None:
    """A server without sign-in that other machines can reach shows nothing."""
    if not st.runtime.exists() or st.get_option("server.address") in _THIS_MACHINE:
        return
    _say("Nothing is shown this way", tag("p", _OPEN))
