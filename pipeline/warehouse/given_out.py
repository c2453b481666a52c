"""What calendar files gave out before: of the newest version, and kept beside the warehouses.

Identifiers and revisions of visits are carried on from version to version, so that they cannot be
made again once every warehouse is gone: a Parquet file in ``given_out/`` holds the last of them.
"""

from __future__ import annotations

from contextlib import suppress
from pathlib import Path

import duckdb
import pandas as pd

from models.check_plan.schemas import CHECK_EVENTS
from models.frames import FrameError
from pipeline.home import Home
from pipeline.statements import connect, run
from pipeline.warehouse.publish import newest

#: The one before too, for whoever copies the home while a version is published.
KEPT = 2


def keep_events(home: Home) -> None:
    """Keep the visits of the newest version, and drop those of long before.

    A build killed between publishing and this is made up for by the next one.
    """
    found = newest(home)
    if found is None:
        return
    kept = home.given_out / f"{found.version:06d}.parquet"
    if not kept.exists() or kept in damaged_events(home):
        home.given_out.mkdir(exist_ok=True)
        # one published before plans were kept has no such table
        with suppress(duckdb.Error):
            _copy(found.path, kept)
    if kept.exists():
        for path in {*_kept(home)[:-KEPT], *damaged_events(home)} - {kept}:
            path.unlink(missing_ok=True)


def _copy(warehouse: Path, kept: Path) -> None:
    draft = kept.with_name(f".{kept.name}")
    connection = connect(warehouse, read_only=True)
    try:
        run(connection, "warehouse/sql/keep_events", {"path": str(draft)})
    finally:
        connection.close()
    draft.replace(kept)


def earlier_events(home: Home) -> pd.DataFrame:
    """CHECK_EVENTS of the newest published version, by whatever code it was made, or as kept.

    Empty where there are none that can be read: calendars then take the plan as a first one, and
    what they hold of an earlier one is revised by it but not cancelled.
    """
    found = newest(home)
    if found is not None:
        events = _read(found.path, "access/sql/check_events")
        if events is not None:
            return events
    for path in reversed(_kept(home)):
        events = _read(None, "warehouse/sql/kept_events", {"path": str(path)})
        if events is not None:
            return events
    return CHECK_EVENTS.empty()


def _read(path: Path | None, name: str, parameters: dict | None = None) -> pd.DataFrame | None:
    try:
        connection = connect(path, read_only=path is not None)
    except duckdb.Error:
        return None
    try:
        return CHECK_EVENTS.check(run(connection, name, parameters).df())
    except (duckdb.Error, FrameError):
        return None
    finally:
        connection.close()


def damaged_events(home: Home) -> list[Path]:
    """Visits kept that cannot be read any more."""
    name = "warehouse/sql/kept_events"
    return [path for path in _kept(home) if _read(None, name, {"path": str(path)}) is None]


def _kept(home: Home) -> list[Path]:
    return sorted(path for path in home.given_out.glob("*.parquet") if path.stem.isdigit())
