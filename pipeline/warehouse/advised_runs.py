"""Runs of days over which the same was advised of a sensor, remembered from build to build.

Advice is kept day by day for good: after a year that is some hundred times what is advised today.
What the days but the last came to is remembered beside the models, with the files that it was read
from, so that a build reads those kept since alone. Where one of the others has changed or is gone,
or one kept since is no later than they, all are read again.
"""

from __future__ import annotations

from contextlib import suppress
from dataclasses import dataclass, field
from datetime import date, timedelta
from pathlib import Path

import duckdb
import pandas as pd

from pipeline.statements import run
from pipeline.warehouse.kept_fit import keep_frames, kept_frames
from pipeline.warehouse.shape import current_shape

#: Raise when the frames come to mean something else under the same names.
_LAYOUT = 1
_CARD = "advised_runs"
_RUNS, _FILES = "runs", "files"
_NO_RUNS = pd.DataFrame(
    {
        "sensor_id": pd.Series(dtype="str"),
        "action": pd.Series(dtype="str"),
        "first_on": pd.Series(dtype="datetime64[us]"),
        "last_on": pd.Series(dtype="datetime64[us]"),
        "defect_at_first": pd.Series(dtype="float64"),
        "by_lot": pd.Series(dtype="boolean"),
    }
)


@dataclass(frozen=True)
class KnownRuns:
    """``runs``, a row each, and the ``files`` that they were read from; none where none are."""

    runs: pd.DataFrame = field(default_factory=_NO_RUNS.copy)
    files: frozenset[Path] = frozenset()

    def through(self) -> date | None:
        """The last day that they are of."""
        return self.runs["last_on"].max().date() if len(self.runs) else None


def remembered_runs(folder: Path, files: list[Path]) -> KnownRuns:
    """The runs remembered in a folder of kept models, if all they were read from is as it was."""
    held = kept_frames(folder, _CARD, _rests_on())
    if held is None:
        return KnownRuns()
    there = {path.name: path for path in files}
    told = held[_FILES].to_dict("records")
    try:
        if any(row["name"] not in there or row != _told(there[row["name"]]) for row in told):
            return KnownRuns()
    except OSError:  # it cannot even be looked at
        return KnownRuns()
    return KnownRuns(held[_RUNS], frozenset(there[row["name"]] for row in told))


def can_go_on(
    connection: duckdb.DuckDBPyConnection, known: KnownRuns, files: list[Path], day: date
) -> bool:
    """Whether what is remembered need only be taken on by the other files, all of later days."""
    through = known.through()
    if through is None:
        return True
    days = _days_of(connection, _not_in(known, files)).values()
    return known.files <= set(files) and through <= day and all(on > through for on in days)


def find_runs(
    connection: duckdb.DuckDBPyConnection,
    folder: Path,
    known: KnownRuns,
    files: list[Path],
    day: date,
) -> None:
    """Fill the temporary table ``advised_runs`` with all runs up to a day, and remember them.

    Parameters
    ----------
    connection : DuckDBPyConnection
        Of the warehouse that is built.
    folder : Path
        Of kept models.
    known : KnownRuns
        What is remembered there, if it ``can_go_on``.
    files : list of Path
        What was advised, a file a version; those not remembered can be read.
    day : date
        Advice of later days is passed over.
    """
    days = {
        path: on for path, on in _days_of(connection, _not_in(known, files)).items() if on <= day
    }
    _read(connection, list(days))
    before = max(days.values(), default=day) - timedelta(days=1)
    settled = [path for path, on in days.items() if on <= before]
    if settled:
        _together(connection, known.runs, date.min, before)
        runs = connection.execute("from advised_runs order by sensor_id, first_on").df()
        known = KnownRuns(runs, known.files | set(settled))
        _keep(folder, known)
    _together(connection, known.runs, before, day)


def _not_in(known: KnownRuns, files: list[Path]) -> list[Path]:
    return [path for path in files if path not in known.files]


def _days_of(connection: duckdb.DuckDBPyConnection, files: list[Path]) -> dict[Path, date]:
    """The day that each file is of, but for files without a row."""
    if not files:
        return {}
    paths = {"paths": [str(path) for path in files]}
    rows = run(connection, "warehouse/sql/advised_on", paths).fetchall()
    days = {Path(name).name: on for name, on in rows}
    return {path: days[path.name] for path in files if path.name in days}


def _read(connection: duckdb.DuckDBPyConnection, files: list[Path]) -> None:
    """Read files into the temporary table ``advised_days``."""
    if files:
        run(connection, "warehouse/sql/advised_days", {"paths": [str(path) for path in files]})
    else:
        run(connection, "warehouse/sql/advised_no_days")


def _together(
    connection: duckdb.DuckDBPyConnection, runs: pd.DataFrame, after: date, until: date
) -> None:
    """Make ``advised_runs`` of runs and of the days that were read, some of them."""
    connection.register("runs_before", runs)
    run(connection, "warehouse/sql/advised_runs", {"after": after, "until": until})
    connection.unregister("runs_before")


def _keep(folder: Path, known: KnownRuns) -> None:
    with suppress(OSError):  # it saves time and is never needed
        told = pd.DataFrame([_told(path) for path in sorted(known.files)])
        keep_frames(folder, _CARD, {_RUNS: known.runs, _FILES: told}, _rests_on())


def _rests_on() -> str:
    return f"{_LAYOUT}/{current_shape()}"


def _told(path: Path) -> dict[str, str | int]:
    """What a file that has not changed shows again."""
    about = path.stat()
    return {"name": path.name, "bytes": about.st_size, "changed_ns": about.st_mtime_ns}
