"""Serve the dashboard on the shop's network, behind sign-in and TLS."""

from __future__ import annotations

import os
import secrets
from functools import partial
from pathlib import Path

from starlette.datastructures import Headers
from starlette.middleware import Middleware
from starlette.middleware.trustedhost import TrustedHostMiddleware
from starlette.requests import cookie_parser
from starlette.types import Scope
from streamlit.runtime.pages_manager import PagesManager
from streamlit.starlette import App

import dashboard
from dashboard.ahead import Ahead
from dashboard.frame import Frame
from dashboard.network.door import Door
from dashboard.network.in_force import PROVIDER, Served, serve_as
from dashboard.network.sign_ins import Claims, SignIns
from dashboard.sent_at_once import SentAtOnce
from pipeline.asker import Asker
from pipeline.home import Home
from pipeline.intake.settings.network_file import Network
from pipeline.intake.settings.people_file import PeopleFileError, asker_of


def serve(network: Network, home: Home) -> None:
    """Serve until stopped."""
    sign_ins = SignIns(network.origin, network.sign_in_hours)
    serve_as(Served(network, home, sign_ins))
    if network.provider.authority:
        os.environ["SSL_CERT_FILE"] = network.provider.authority  # asked for by httpx
    application(network, sign_ins, home).run(config=options(network))


def application(network: Network, sign_ins: SignIns, home: Home) -> App:
    """The pages behind the door. Secrets are handed over in memory and never written down."""
    # Until app.py has run once, Streamlit would run a file of pages/ without it.
    PagesManager.uses_pages_directory = False
    return App(
        Path(dashboard.__file__).with_name("app.py"),
        secrets={"auth": sign_in_settings(network)},
        middleware=[
            Middleware(SentAtOnce),
            Middleware(
                TrustedHostMiddleware,
                allowed_hosts=list(network.allowed_hosts),
                www_redirect=False,
            ),
            Middleware(Frame),
            Middleware(Door, network=network, sign_ins=sign_ins, has_part=partial(_has_part, home)),
            Middleware(Ahead, who=partial(_who_asks, home, sign_ins)),
        ],
    )


def _has_part(home: Home, claims: Claims) -> bool:
    try:
        return asker_of(home, claims) is not None
    except PeopleFileError:  # who it is cannot be told: nobody, as on the pages
        return False


def _who_asks(home: Home, sign_ins: SignIns, scope: Scope) -> Asker | None:
    """Who signed in for a request that the door let through; None for nobody."""
    cookies = cookie_parser("; ".join(Headers(scope=scope).getlist("cookie")))
    claims = sign_ins.of_cookies(cookies)
    return None if claims is None else asker_of(home, claims)


def sign_in_settings(network: Network) -> dict:
    """What Streamlit needs to know for ``st.login``.

    The key that signs cookies is drawn at each start and kept nowhere, so that a restart ends
    every sign-in.
    """
    provider = network.provider
    return {
        "redirect_uri": network.callback,
        "cookie_secret": secrets.token_urlsafe(48),
        PROVIDER: {
            "client_id": provider.client_id,
            "client_secret": str(provider.client_secret),
            "server_metadata_url": provider.metadata_url,
            "client_kwargs": {"scope": "openid email profile", "prompt": provider.prompt},
            "authorize_params": {"max_age": max(1, int(network.sign_in_hours * 3600))},
        },
    }


def options(network: Network) -> dict[str, object]:
    """Streamlit's options."""
    _, _, port = network.authority.rpartition(":")
    return {
        "server.address": network.listen_on,
        "server.port": network.port,
        "server.sslCertFile": network.certificate,
        "server.sslKeyFile": network.key,
        "server.allowedHosts": list(network.allowed_hosts),
        "server.enableCORS": True,
        "server.corsAllowedOrigins": [network.origin],
        "server.enableXsrfProtection": True,
        "server.xsrfCookieSameSite": "strict",
        "server.maxUploadSize": network.upload_limit_mb,
        "server.enableAgentApi": False,
        "browser.serverAddress": network.host,
        "browser.serverPort": int(port) if port.isdecimal() else 443,
        "browser.gatherUsageStats": False,
    }
