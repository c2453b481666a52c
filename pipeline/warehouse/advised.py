"""What was advised on each day, kept for good, and what came of it.

Advice rests on the records, the settings and the code of its day, so that it cannot be made again
later: unlike everything else beside the handed-in files it is kept. One Parquet file a published
version, in ``advised/``.
"""

from __future__ import annotations

from collections.abc import Iterable
from contextlib import suppress
from datetime import UTC, date, datetime
from pathlib import Path

import duckdb

from pipeline.home import Home
from pipeline.kept_sweeps.places import is_due
from pipeline.statements import connect, run
from pipeline.warehouse.advised_runs import (
    KnownRuns,
    can_go_on,
    find_runs,
    remembered_runs,
)
from pipeline.warehouse.lives import MARTS
from pipeline.warehouse.publish import Manifest, published


def keep_advised(home: Home) -> None:
    """Keep the advice of every published version that is not kept yet.

    A build killed between publishing and this is made up for by the next one.
    """
    home.advised.mkdir(exist_ok=True)
    kept = {home.advised / f"{found.version:06d}.parquet": found for found in published(home)}
    for path in unreadable(kept):
        # one published before advice was kept may lack a column
        with suppress(duckdb.Error):
            _copy(kept[path], path)


def _copy(manifest: Manifest, kept: Path) -> None:
    draft = kept.with_name(f".{kept.name}")
    connection = connect(manifest.path, read_only=True)
    try:
        as_of = {"version": manifest.version, "as_of": manifest.as_of, "path": str(draft)}
        run(connection, "warehouse/sql/keep_advised", as_of)
    finally:
        connection.close()
    draft.replace(kept)


def unreadable(paths: Iterable[Path]) -> list[Path]:
    """Those of what was advised once that are not there or cannot be read to their end."""
    found = []
    connection = connect()
    try:
        for path in paths:
            try:
                # the sum alone comes back, though every cell is read for it
                connection.execute(
                    "select sum(hash(rows)) from read_parquet(?) as rows", [str(path)]
                ).fetchall()
            except duckdb.Error:
                found.append(path)
                connection.close()  # some errors leave one of no further use
                connection = connect()
    finally:
        connection.close()
    return found


def damaged_advice(home: Home) -> list[Path]:
    """What was advised once and cannot be read any more."""
    return unreadable(sorted(home.advised.glob("*.parquet")))


def follow_advised(connection: duckdb.DuckDBPyConnection, home: Home, day: date) -> list[str]:
    """Hold what was advised up to a day against what the shop did and what happened since.

    Advice dated later was given while a clock ran ahead. A file whose advice is remembered as runs
    is read again in its turn alone.

    Returns
    -------
    Sentences on what could not be read; the rest is followed without it.
    """
    files = sorted(home.advised.glob("*.parquet"))
    known = remembered_runs(home.kept_models, files)
    damaged = _unreadable_but(known, files)
    if not can_go_on(connection, known, _others(files, damaged), day):
        known = KnownRuns()
        damaged = _unreadable_but(known, files)
    find_runs(connection, home.kept_models, known, _others(files, damaged), day)
    run(connection, f"{MARTS}/advised_spells")
    run(connection, f"{MARTS}/advice_followed")
    run(connection, f"{MARTS}/answers_followed")
    return [
        f"What version {int(path.stem)} advised cannot be read, and what came of it is told "
        f"without it: put advised/{path.name} back from the copy you kept."
        for path in damaged
    ]


def _unreadable_but(known: KnownRuns, files: list[Path]) -> list[Path]:
    """Those that cannot be read, of files that are not remembered or in their turn."""
    today = datetime.now(UTC).date()
    return unreadable(path for path in files if path not in known.files or is_due(path.name, today))


def _others(files: list[Path], damaged: list[Path]) -> list[Path]:
    return [path for path in files if path not in damaged]
