"""Take files in, rebuild, publish, and say row by row what became of them."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

import pandas as pd

from pipeline.access.hand_ins import account
from pipeline.asker import Asker
from pipeline.home import OWN, Home
from pipeline.home_layouts import LAYOUT
from pipeline.intake.deeds import make_up_if_possible
from pipeline.intake.receive import last_hand_in, receive
from pipeline.jobs.hand_back import write_set_aside
from pipeline.jobs.workers import ONE, Workers
from pipeline.statements import connect, held_open, one_row, run
from pipeline.warehouse.build import build
from pipeline.warehouse.damage import mark_if_shut
from pipeline.warehouse.publish import Manifest, newest, passed_over, versions


@dataclass(frozen=True)
class IngestReport:
    """What one hand-in came to. ``tables`` has one row a table, ``files`` one a file."""

    manifest: Manifest
    tables: pd.DataFrame
    files: pd.DataFrame
    notices: list[str]
    set_aside: Path
    set_aside_count: int
    came_in: int
    settled: int


def ingest(
    home: Home,
    paths: list[Path],
    *,
    progress: bool = False,
    say: Callable[[str], None] = lambda text: None,
    now: datetime | None = None,
    asker: Asker | None = None,
    workers: Workers = ONE,
) -> IngestReport:
    """Take files or folders in, rebuild everything, publish, and write ``set_aside.csv``.

    Raises
    ------
    HomeError
        The home cannot be written, is another builder's just now, or is of another kind.
    """
    with home.one_builder():
        waited = _waiting_rows(newest(home))
        hand_in = receive(home, paths, now, asker=asker)
        manifest = build(home, progress=progress, say=say, workers=workers)
        with held_open(manifest.path):
            return _report(home, manifest, hand_in, waited)


def rebuild(
    home: Home,
    *,
    progress: bool = False,
    say: Callable[[str], None] = lambda text: None,
    workers: Workers = ONE,
) -> Manifest:
    """Build and publish anew from what was handed in before, whatever else of the home is gone."""
    home.prepare(home.kind or OWN)
    with home.one_builder():
        manifest = build(home, progress=progress, say=say, workers=workers)
        write_set_aside(home, manifest)
        return manifest


def ensure_current(home: Home, *, say: Callable[[str], None] = lambda text: None) -> None:
    """Rebuild where what is published is not of today, of this code, or of all that was handed in.

    Odometers are carried forward to the day of the build, so that yesterday's build already
    judges from yesterday. A home that nobody has started is left alone.
    """
    if home.kind is None:
        return
    if home.bring_up_to_date():
        say(f"Carried the home forward to layout {LAYOUT}, with a copy of what was changed")
    make_up_if_possible(home, versions(home))
    last = last_hand_in(home)
    found = newest(home)
    today = (home.as_of or datetime.now(UTC).date()).isoformat()
    # another day, not a later one: a clock that ran ahead may have been set right
    if found is None or not found.is_current or found.as_of != today or found.hand_in < last:
        rebuild(home, progress=True, say=say)
    elif mark_if_shut(home, found) or passed_over(home):
        say("The newest records cannot be read")
        rebuild(home, progress=True, say=say)


def _waiting_rows(manifest: Manifest | None) -> list[int]:
    """Row numbers of one published version; rows keep their numbers from version to version."""
    if manifest is None:
        return []
    connection = connect(manifest.path, read_only=True)
    try:
        return [row for (row,) in run(connection, "intake/sql/report/waiting_rows").fetchall()]
    finally:
        connection.close()


def _report(home: Home, manifest: Manifest, hand_in: int, waited: list[int]) -> IngestReport:
    listed, count = write_set_aside(home, manifest)
    connection = connect(manifest.path, read_only=True)
    try:
        became = account(connection, home, hand_in)
        (came_in,) = one_row(run(connection, "intake/sql/report/came_in", {"waited": waited}))
    finally:
        connection.close()
    return IngestReport(
        manifest,
        became.tables,
        became.files,
        became.notices,
        listed,
        count,
        came_in,
        became.settled,
    )
