"""What `python3 -m dashboard` serves on this machine: the pages, and what brings them up sooner."""

from pathlib import Path

import streamlit as st
from starlette.middleware import Middleware
from starlette.middleware.trustedhost import TrustedHostMiddleware
from streamlit.runtime.pages_manager import PagesManager

from dashboard.ahead import Ahead
from dashboard.frame import Frame
from dashboard.own_origin import OwnOrigin
from dashboard.sent_at_once import SentAtOnce
from pipeline.asker import whoever_is_here

# Until app.py has run once, Streamlit would run a file of pages/ without it.
PagesManager.uses_pages_directory = False
app = st.App(
    Path(__file__).with_name("app.py"),
    middleware=[
        Middleware(SentAtOnce),
        # a name that leads to this machine by a stranger's doing is refused (DNS rebinding)
        Middleware(
            TrustedHostMiddleware, allowed_hosts=["127.0.0.1", "localhost"], www_redirect=False
        ),
        Middleware(OwnOrigin),
        Middleware(Frame),
        Middleware(Ahead, who=lambda scope: whoever_is_here()),
    ],
)
