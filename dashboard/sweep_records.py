"""Parts of sweeps that a page asks for by and by, read once for each published version."""

from __future__ import annotations

import pandas as pd
import streamlit as st

from dashboard.records import Shown
from pipeline.access import sweep_traces
from pipeline.access.reading import NotThereError
from pipeline.home import Home


def window(
    shown: Shown, session_id: str, from_s: float, to_s: float
) -> sweep_traces.SweepWindow | None:
    """A part of a test's sweep; None while the published records do not hold that sweep."""
    return _asked("sweep_window", shown, session_id, from_s, to_s)


def over_travel(shown: Shown, session_id: str) -> sweep_traces.SweepOverTravel | None:
    """A test's passes over the travel; None while the published records do not hold its sweep."""
    return _asked("sweep_over_travel", shown, session_id)


def can_lie_over(shown: Shown, session_id: str) -> pd.DataFrame:
    """Earlier tests that can be laid over one."""
    return _asked("overlay_tests", shown, session_id)


def _asked(what: str, shown: Shown, *of: str | float) -> object:
    try:
        return _kept(what, str(shown.home.root), shown.version, of, shown.home)
    except NotThereError:
        return None


@st.cache_resource(max_entries=60, show_spinner="Reading the sweep …")
def _kept(what: str, root: str, version: int, of: tuple, _home: Home) -> object:
    # by name each time, so that a reading can be stood in for
    return getattr(sweep_traces, what)(_home, *of)
