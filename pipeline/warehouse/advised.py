"""What was advised on each day, kept for good, and what came of it.

Advice rests on the records, the settings and the code of its day, so that it cannot be made again
later: unlike everything else beside the handed-in files it is kept. One Parquet file a published
version, in ``advised/``.
"""

from __future__ import annotations

from contextlib import suppress
from pathlib import Path

import duckdb

from pipeline.home import Home
from pipeline.statements import connect, run
from pipeline.warehouse.lives import MARTS
from pipeline.warehouse.publish import Manifest, published


def keep_advised(home: Home) -> None:
    """Keep the advice of every published version that is not kept yet.

    A build killed between publishing and this is made up for by the next one.
    """
    home.advised.mkdir(exist_ok=True)
    for manifest in published(home):
        kept = home.advised / f"{manifest.version:06d}.parquet"
        if not kept.exists():
            # one published before advice was kept may lack a column
            with suppress(duckdb.Error):
                _copy(manifest, kept)


def _copy(manifest: Manifest, kept: Path) -> None:
    draft = kept.with_name(f".{kept.name}")
    connection = connect(manifest.path, read_only=True)
    try:
        as_of = {"version": manifest.version, "as_of": manifest.as_of, "path": str(draft)}
        run(connection, "warehouse/sql/keep_advised", as_of)
    finally:
        connection.close()
    draft.replace(kept)


def follow_advised(connection: duckdb.DuckDBPyConnection, home: Home) -> None:
    """Hold what was advised against what the shop did and what happened since."""
    files = [str(path) for path in sorted(home.advised.glob("*.parquet"))]
    if files:
        run(connection, "warehouse/sql/advised", {"paths": files})
    else:
        run(connection, "warehouse/sql/advised_none")
    run(connection, f"{MARTS}/advised_spells")
    run(connection, f"{MARTS}/advice_followed")
    run(connection, f"{MARTS}/answers_followed")
