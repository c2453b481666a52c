"""Open the newest published warehouse for one reading, and take declared frames from it."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import date
from pathlib import Path

import duckdb
import pandas as pd

from models.frames import FrameSchema
from pipeline.access.kept_open import bound_memory, opened
from pipeline.access.scope.scoped import connect_scoped
from pipeline.asker import Asker
from pipeline.home import DEMO, Home
from pipeline.intake.settings.settings_file import read_settings
from pipeline.statements import connect, run
from pipeline.warehouse.damage import mark_if_damaged
from pipeline.warehouse.publish import Manifest, passed_over, published


@dataclass(frozen=True)
class Edition:
    """Which records a view was read from; ``instead`` says why not from newer ones, if so."""

    version: int
    built_at: str
    as_of: date
    is_demo: bool
    home: str
    instead: str = ""


class NotThereError(LookupError):
    """No published warehouse, or no such bike or test in it; the message says which."""


class TooFewShopsError(NotThereError):
    """What several shops' records say together, and too few stand behind it to be shown."""

    def __init__(self, home: Home) -> None:
        least = read_settings(home).pooled
        super().__init__(
            "This is what the records of several shops say together. It is shown to one of them "
            f"once at least {least.pooled_least_shops} shops and {least.pooled_least_sensors} "
            "sensors stand behind it, so that no shop can be told from it."
        )


@contextmanager
def reading(home: Home, asker: Asker) -> Iterator[tuple[Manifest, duckdb.DuckDBPyConnection]]:
    """The newest version, opened for this one reading; a version tidied away is looked up anew.

    Whoever does not see all finds in its tables what is in their scope, and nothing else.
    """
    try:
        manifest, connection = _open_newest(home, asker)
    except (duckdb.Error, OSError):
        manifest, connection = _open_newest(home, asker)
    try:
        yield manifest, connection
    except duckdb.Error as error:
        if not mark_if_damaged(home, manifest):
            raise
        raise NotThereError(
            f"Version {manifest.version} of the records turned out to be damaged. Load the page "
            "again: the version before it is shown until the next build."
        ) from error
    finally:
        connection.close()


def _open_newest(home: Home, asker: Asker) -> tuple[Manifest, duckdb.DuckDBPyConnection]:
    """The newest version that can be read: a damaged one is marked, and the one before it taken."""
    home.refuse_newer()
    for manifest in published(home):
        if not manifest.is_current:
            raise NotThereError(
                "These records were published by another version of Wear Atlas. Start the "
                "dashboard again, or run: python3 -m pipeline rebuild"
            )
        try:
            return manifest, _opened(home, asker, manifest)
        except duckdb.Error:
            if not mark_if_damaged(home, manifest):
                raise
    raise NotThereError(_none_to_read(home))


def _opened(home: Home, asker: Asker, manifest: Manifest) -> duckdb.DuckDBPyConnection:
    if asker.sees_all:
        return opened(manifest.path, "all", lambda: _connect_whole(manifest.path))
    scope = (asker.role, asker.shops, asker.fleets, read_settings(home).pooled)
    return opened(manifest.path, scope, lambda: connect_scoped(home, asker, manifest.path))


def _none_to_read(home: Home) -> str:
    why = _told(passed_over(home))
    if not why:
        return "No records are published yet."
    return (
        f"No published records can be read ({why}). Nothing handed in is lost by it; run: "
        "python3 -m pipeline rebuild"
    )


def _instead_of_newer(home: Home, manifest: Manifest) -> str:
    """What to say where newer records than these cannot be read."""
    why = _told({n: why for n, why in passed_over(home).items() if n > manifest.version})
    if not why:
        return ""
    return (
        f"Newer records cannot be read ({why}), so that version {manifest.version} is shown. "
        "Nothing handed in is lost by it: the next build, after the next entry or at the next "
        "start, makes them anew."
    )


def _told(amiss: dict[int, str]) -> str:
    return "; ".join(f"version {version}: {why}" for version, why in sorted(amiss.items()))


def _connect_whole(path: Path) -> duckdb.DuckDBPyConnection:
    connection = connect(path, read_only=True)
    bound_memory(connection, path)
    return connection


def edition_of(home: Home, manifest: Manifest) -> Edition:
    """What a page says of the records it was read from."""
    return Edition(
        manifest.version,
        manifest.built_at,
        date.fromisoformat(manifest.as_of),
        manifest.kind == DEMO,
        str(home.root),
        _instead_of_newer(home, manifest),
    )


def read_frame(
    connection: duckdb.DuckDBPyConnection,
    name: str,
    schema: FrameSchema,
    parameters: dict | None = None,
) -> pd.DataFrame:
    """Rows of ``access/sql/<name>.sql`` as declared."""
    return schema.check(run(connection, f"access/sql/{name}", parameters).df())
