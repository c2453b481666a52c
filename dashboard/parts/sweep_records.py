"""Parts of sweeps that a page asks for by and by, each read once.

The sweep of a test entered since the last build is read from its hand-in, any other from the
published records.
"""

from __future__ import annotations

from collections.abc import Callable

import pandas as pd
import streamlit as st

from dashboard.records import Shown
from pipeline.access import sweep_traces
from pipeline.access.entered import pending_sweep
from pipeline.access.reading import NotThereError
from pipeline.access.scope.allowed import require
from pipeline.access.views import SessionView
from pipeline.asker import Asker
from pipeline.home import Home
from pipeline.intake.receive import last_hand_in


def window(
    shown: Shown, view: SessionView, from_s: float, to_s: float
) -> sweep_traces.SweepWindow | None:
    """A part of a test's sweep, read anew; None where its samples are not there."""
    of = (view.session["session_id"], from_s, to_s)
    return _first(
        view,
        lambda: _published("sweep_window", shown, *of),
        lambda: _entered("pending_sweep_window", shown, of, of),
    )


def over_travel(shown: Shown, view: SessionView) -> sweep_traces.SweepOverTravel | None:
    """A test's passes over the travel; None where its samples are not there."""
    session_id = view.session["session_id"]
    return _first(
        view,
        lambda: _published("sweep_over_travel", shown, session_id),
        lambda: _entered("pending_over_travel", shown, (session_id,), (view,)),
    )


def earlier_over_travel(shown: Shown, session_id: str) -> sweep_traces.SweepOverTravel | None:
    """A published test's passes over the travel; None where its samples are not there."""
    try:
        return _published("sweep_over_travel", shown, session_id)
    except NotThereError:
        return None


def can_lie_over(shown: Shown, view: SessionView) -> pd.DataFrame:
    """Published tests that can be laid over one."""
    key = ("overlay_tests", view.session["session_id"], view.in_records)
    return _kept_for(shown, key, "", (view.session,))


def _first(view: SessionView, published: Callable, entered: Callable) -> object:
    """From where the page's view came; from the other place where a build has come between."""
    for read in (published, entered) if view.in_records else (entered, published):
        try:
            return read()
        except NotThereError:
            continue
    return None


def _published(what: str, shown: Shown, *of: str | float) -> object:
    return _kept_for(shown, (what, *of), "", of)


def _entered(what: str, shown: Shown, key: tuple, of: tuple) -> object:
    entries = str(last_hand_in(shown.home))
    return _kept_for(shown, (what, *key), entries, of)


def _kept_for(shown: Shown, key: tuple, entries: str, of: tuple) -> object:
    asker = shown.asker
    require(asker, key[0])
    root = str(shown.home.root)
    return _kept(root, shown.version, key, entries, asker.scope, shown.home, asker, of)


@st.cache_resource(max_entries=60, show_spinner="Reading the sweep …")
def _kept(
    root: str,
    version: int,
    key: tuple,
    of_entries: str,
    scope: str,
    _home: Home,
    _asker: Asker,
    _of: tuple,
) -> object:
    # by name each time, so that a reading can be stood in for
    module = pending_sweep if key[0].startswith("pending") else sweep_traces
    return getattr(module, key[0])(_home, _asker, *_of)
