"""Runs of days over which the same was advised of a sensor, remembered from build to build.

Advice is kept day by day for good: after a year that is some hundred times what is advised today.
What the days but the last came to is remembered beside the models, with the files that it was read
from, so that a build reads those kept since alone. Where one of the others has changed or is gone,
or one kept since is no later than they, all are read again.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from datetime import date, timedelta
from pathlib import Path

import duckdb
import pandas as pd

from pipeline.statements import one_row, run
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
    if any(row["name"] not in there or row != _told(there[row["name"]]) for row in told):
        return KnownRuns()
    return KnownRuns(held[_RUNS], frozenset(there[row["name"]] for row in told))


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
        What is remembered there.
    files : list of Path
        What was advised, a file a version, all of which can be read.
    day : date
        Advice of later days is passed over.
    """
    known = known if known.files <= set(files) else KnownRuns()
    first, last = _days(connection, [path for path in files if path not in known.files], day)
    through = known.through()
    if through is not None and (through > day or (first is not None and first <= through)):
        known = KnownRuns()
        first, last = _days(connection, files, day)
    if last is not None and first != last:
        before = last - timedelta(days=1)
        _together(connection, known.runs, before)
        runs = connection.execute("from advised_runs order by sensor_id, first_on").df()
        _keep(connection, folder, KnownRuns(runs, known.files), files, before)
        known = replace(known, runs=runs)
        connection.execute("delete from advised_days where as_of < $last", {"last": last})
    _together(connection, known.runs, day)


def _days(
    connection: duckdb.DuckDBPyConnection, files: list[Path], day: date
) -> tuple[date | None, date | None]:
    """Read files into the temporary table ``advised_days``; its first day and its last."""
    if files:
        paths = {"paths": [str(path) for path in files], "as_of": day}
        run(connection, "warehouse/sql/advised_days", paths)
    else:
        run(connection, "warehouse/sql/advised_no_days")
    return one_row(connection.execute("select min(as_of), max(as_of) from advised_days"))


def _together(connection: duckdb.DuckDBPyConnection, runs: pd.DataFrame, until: date) -> None:
    """Make ``advised_runs`` of runs and of the days that were read."""
    connection.register("runs_before", runs)
    run(connection, "warehouse/sql/advised_runs", {"until": until})
    connection.unregister("runs_before")


def _keep(
    connection: duckdb.DuckDBPyConnection,
    folder: Path,
    known: KnownRuns,
    files: list[Path],
    until: date,
) -> None:
    """Remember runs up to a day, with the files that hold no later one."""
    fresh = [path for path in files if path not in known.files]
    paths = {"paths": [str(path) for path in fresh]}
    days = run(connection, "warehouse/sql/advised_on", paths).fetchall()
    covered = {Path(name).name for name, as_of in days if as_of <= until}
    read = [path for path in fresh if path.name in covered]
    told = pd.DataFrame([_told(path) for path in sorted({*known.files, *read})])
    try:
        keep_frames(folder, _CARD, {_RUNS: known.runs, _FILES: told}, _rests_on())
    except OSError:
        return  # it saves time and is never needed


def _rests_on() -> str:
    return f"{_LAYOUT}/{current_shape()}"


def _told(path: Path) -> dict[str, str | int]:
    """What a file that has not changed shows again."""
    about = path.stat()
    return {"name": path.name, "bytes": about.st_size, "changed_ns": about.st_mtime_ns}
