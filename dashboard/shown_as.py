"""How values are shown to the reader at work: set once a run of a page, read where words are made.

Kept by the reader's session, since parts of a page run again by themselves in threads of their
own, and two readers may look at different records. Outside a page everything is at its default.
"""

from __future__ import annotations

from streamlit.runtime.scriptrunner import get_script_run_ctx

from pipeline.intake.settings.shown_settings import ShownSettings

DEFAULT = ShownSettings()
#: Sessions remembered; the oldest is forgotten first and takes its settings up with its next run.
_MOST = 500
_by_session: dict[str, ShownSettings] = {}


def show_as(chosen: ShownSettings) -> None:
    """From here on show values to this reader as chosen."""
    session = _session()
    if session is None:
        return
    _by_session.pop(session, None)
    _by_session[session] = chosen
    if len(_by_session) > _MOST:
        _by_session.pop(next(iter(_by_session)), None)


def shown_as() -> ShownSettings:
    """How values are shown to this reader."""
    session = _session()
    return DEFAULT if session is None else _by_session.get(session, DEFAULT)


def _session() -> str | None:
    context = get_script_run_ctx(suppress_warning=True)
    return context.session_id if context is not None else None
