"""A sweep's samples for drawing: the whole thinned, a part read anew, passes over the travel."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import duckdb
import numpy as np
import pandas as pd
import pyarrow as pa

from models.frames import Column, FrameSchema
from models.sweeps.decimate import decimate_minmax
from models.sweeps.over_travel import OVER_TRAVEL, lay_over_travel
from models.sweeps.scale import scale_of
from models.sweeps.schemas import DROPOUTS, PASSES, PROFILE
from pipeline.access.frames.view_schemas import TRACE
from pipeline.access.reading import NotThereError, read_frame, reading
from pipeline.access.scope.allowed import view
from pipeline.asker import Asker
from pipeline.home import Home
from pipeline.kept_sweeps.places import sweep_of
from pipeline.kept_sweeps.storage import StorageError
from pipeline.statements import run

# Two to a column of pixels on the widest screen the pages are made for.
TRACE_POINTS = 2_000

OVERLAY_TESTS = FrameSchema(
    "overlay_tests",
    "one earlier swept test that can be laid over this one, the latest first",
    (
        Column("session_id", "text", "the test"),
        Column("sensor_id", "text", "its sensor"),
        Column("same_sensor", "flag", "of the same sensor; else of the one before it"),
        Column("part_no", "text", "its part number"),
        Column("tested_on", "date", "day"),
        Column("odometer_km", "number", "odometer", "km"),
        Column("verdict", "text", "the technician's", blank=True),
        Column("conclusion", "text", "what its sweep showed"),
        Column("dropout_count", "whole", "drop-outs seen", blank=True),
    ),
)


@dataclass(frozen=True)
class SweepWindow:
    """A part of a sweep: ``samples`` TRACE; how many were recorded there, and whether all stand."""

    samples: pd.DataFrame
    sample_count: int

    @property
    def is_whole(self) -> bool:
        """Whether every recorded sample stands in it."""
        return len(self.samples) == self.sample_count


@dataclass(frozen=True)
class SweepOverTravel:
    """One test's sweep over the travel: ``passes`` OVER_TRAVEL, ``profile`` PROFILE.

    ``closed_pct`` and ``open_pct`` are the output at the stops, % of applied; NaN where not known.
    """

    session_id: str
    passes: pd.DataFrame
    profile: pd.DataFrame
    travel_source: str
    closed_pct: float
    open_pct: float


def thinned_trace(home: Home, samples_name: object, session_id: str) -> pd.DataFrame:
    """The whole sweep, thinned so that every extreme is still drawn (TRACE); empty without one."""
    if not isinstance(samples_name, str):
        return TRACE.empty()
    return thinned(_samples(home, samples_name, session_id))


@view
def sweep_window(
    home: Home, asker: Asker, session_id: str, from_s: float, to_s: float
) -> SweepWindow:
    """A part of one test's sweep, read anew and thinned for that part alone.

    Raises
    ------
    NotThereError
        Nothing is published in this home, or its records hold no sweep of such a test.
    """
    with reading(home, asker) as (_, connection):
        name, _ = _found(connection, session_id)
    samples = _samples(home, name, session_id)
    part = samples[samples["t_s"].between(from_s, to_s)]
    return window_of(part.reset_index(drop=True))


def window_of(samples: pd.DataFrame) -> SweepWindow:
    """Samples of a part of a sweep as they are drawn, with their number."""
    readable = np.isfinite(samples["t_s"]) & np.isfinite(samples["signal"])
    return SweepWindow(thinned(samples), int(readable.sum()))


@view
def sweep_over_travel(home: Home, asker: Asker, session_id: str) -> SweepOverTravel:
    """One test's passes and roughness over the travel.

    Raises
    ------
    NotThereError
        Nothing is published in this home, or its records hold no sweep of such a test.
    """
    with reading(home, asker) as (_, connection):
        name, about = _found(connection, session_id)
        samples = _samples(home, name, session_id)
        key = [session_id]
        frames = {
            schema.name: schema.check(
                connection.execute(f"from marts.sweep_{schema.name} where session_id = ?", key).df()
            )
            for schema in (PASSES, DROPOUTS, PROFILE)
        }
    return laid_over_travel(samples, about, frames["passes"], frames["dropouts"], frames["profile"])


def laid_over_travel(
    samples: pd.DataFrame,
    about: Mapping,
    passes: pd.DataFrame,
    dropouts: pd.DataFrame,
    profile: pd.DataFrame,
) -> SweepOverTravel:
    """One test's samples laid over the travel by what was measured of them.

    ``about`` holds session_id, sweep_channel, supply_v, track_ohm, travel_source, closed_output and
    open_output.
    """
    low, high = (float(samples["signal"].quantile(q)) for q in (0.01, 0.99))
    applied = scale_of(about["sweep_channel"], low, high, about["supply_v"], about["track_ohm"])
    laid = lay_over_travel(
        samples,
        passes.sort_values("pass_no"),
        dropouts,
        applied=applied.full,
        closed_output=about["closed_output"],
        open_output=about["open_output"],
        n_points=TRACE_POINTS,
    )
    ends = (100.0 * about[end] / applied.full for end in ("closed_output", "open_output"))
    ordered = profile.sort_values("bin_from_pct", ignore_index=True)
    return SweepOverTravel(about["session_id"], laid, ordered, about["travel_source"], *ends)


@view
def overlay_tests(home: Home, asker: Asker, session: Mapping) -> pd.DataFrame:
    """Published tests that can be laid over one (OVERLAY_TESTS), the latest first.

    ``session`` is one row of SESSION as a dict; the records need not hold that test yet.

    Raises
    ------
    NotThereError
        Nothing is published in this home.
    """
    of = ("session_id", "sensor_id", "unit_id", "mount", "sweep_channel", "tested_at")
    asked = {name: session[name] if isinstance(session[name], str) else None for name in of}
    with reading(home, asker) as (_, connection):
        return read_frame(connection, "overlay_tests", OVERLAY_TESTS, asked)


def _found(connection: duckdb.DuckDBPyConnection, session_id: str) -> tuple[str, dict]:
    """The file that a test's samples are kept in, and how they are scaled."""
    rows = run(connection, "access/sql/sweep_about", {"session_id": session_id}).df()
    about = rows.to_dict("records")[0] if len(rows) else {}
    name = about.get("samples_name")
    if not isinstance(name, str):
        raise NotThereError(f"The published records hold no sweep of test {session_id}.")
    return name, about


def _samples(home: Home, name: str, session_id: str) -> pd.DataFrame:
    """Samples of one sweep with the columns of TRACE, in the order recorded."""
    try:
        return sweep_of(home, name, session_id)
    except StorageError as error:
        raise NotThereError(str(error)) from error
    except (OSError, pa.ArrowException) as error:
        raise NotThereError(
            f"The samples of test {session_id} cannot be read: sweeps_by_shop/{name} is damaged or "
            "gone. The next build reads them again from the file handed in."
        ) from error


def thinned(samples: pd.DataFrame, points: int = TRACE_POINTS) -> pd.DataFrame:
    """Samples as TRACE, both tracks' extremes kept; those without a time or reading are not drawn.

    ``samples`` has the columns of TRACE, rows in the order recorded.
    """
    t_s = samples["t_s"].to_numpy()
    first = samples["signal"].to_numpy()
    kept = decimate_minmax(t_s, first, points)
    if samples["signal_b"].notna().any():
        second = np.where(np.isfinite(first), samples["signal_b"].to_numpy(), np.nan)
        kept = np.union1d(kept, decimate_minmax(t_s, second, points))
    return TRACE.check(samples.iloc[kept].reset_index(drop=True))


__all__ = [
    "OVERLAY_TESTS",
    "OVER_TRAVEL",
    "TRACE_POINTS",
    "SweepOverTravel",
    "SweepWindow",
    "laid_over_travel",
    "overlay_tests",
    "sweep_over_travel",
    "sweep_window",
    "thinned",
    "thinned_trace",
    "window_of",
]
