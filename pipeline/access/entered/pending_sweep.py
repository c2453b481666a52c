"""The sweep of a test entered since the last build: its samples lie in the hand-in alone."""

from __future__ import annotations

import math

import pandas as pd

from models.sweeps.schemas import SAMPLES
from pipeline.access.entered.pending import pending_files, pending_rows, within_reach
from pipeline.access.reading import NotThereError
from pipeline.access.scope.allowed import view
from pipeline.access.sweep_traces import (
    SweepOverTravel,
    SweepWindow,
    laid_over_travel,
    window_of,
)
from pipeline.access.views import SessionView
from pipeline.asker import Asker
from pipeline.home import Home
from pipeline.intake.contract import table_of
from pipeline.intake.read_sweeps import samples_into
from pipeline.intake.receive import HandedFile
from pipeline.statements import connect, run

#: Larger files of sweeps hold more than a test just made: they wait for the build.
LARGEST_SWEEP = 50_000_000


@view
def pending_samples(home: Home, asker: Asker, session_id: str) -> pd.DataFrame:
    """SAMPLES of the last sweep entered for the test; empty without one."""
    files = [file for file in pending_files(home) if _holds_sweeps(file)]
    if not files or not within_reach(home, asker, "test_sessions", session_id):
        return SAMPLES.empty()
    connection = connect()
    try:
        for file in reversed(files):
            samples_into(connection, file)
            found = run(connection, "access/sql/samples_as_typed", {"session_id": session_id}).df()
            if len(found):
                return SAMPLES.check(found)
    finally:
        connection.close()
    return SAMPLES.empty()


@view
def pending_sweep_window(
    home: Home, asker: Asker, session_id: str, from_s: float, to_s: float
) -> SweepWindow:
    """A part of the sweep, thinned for that part alone.

    Raises
    ------
    NotThereError
        No sweep of such a test was entered since the last build.
    """
    samples = _there(home, asker, session_id)
    part = samples[samples["t_s"].between(from_s, to_s)]
    return window_of(part.drop(columns="session_id").reset_index(drop=True))


@view
def pending_over_travel(home: Home, asker: Asker, view: SessionView) -> SweepOverTravel:
    """The test's passes and roughness over the travel, by what ``view`` measured of it.

    Raises
    ------
    NotThereError
        No sweep of such a test was entered since the last build.
    """
    session_id = view.session["session_id"]
    samples = _there(home, asker, session_id)
    typed = pending_rows(home, asker, "test_sessions")["test_sessions"].get(session_id, {})
    track_ohm = typed.get("track_ohm")
    about = view.session | (view.measures or {})
    about["track_ohm"] = float(track_ohm) if track_ohm else math.nan
    return laid_over_travel(samples, about, view.passes, view.dropouts, view.profile)


def _there(home: Home, asker: Asker, session_id: str) -> pd.DataFrame:
    samples = pending_samples(home, asker, session_id)
    if samples.empty:
        raise NotThereError(f"No sweep of test {session_id} was entered since the last build.")
    return samples


def _holds_sweeps(file: HandedFile) -> bool:
    table = table_of(file.name)
    if file.trouble or table is None or table.name != "sweeps" or not file.path.exists():
        return False
    return file.path.stat().st_size <= LARGEST_SWEEP
