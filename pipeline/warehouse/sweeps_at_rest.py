"""Bring the files of samples to their places once a version is published, and take others away.

What ought to be where follows from the published versions alone, so that a build killed half-way
through is made up for by the next.
"""

from __future__ import annotations

from contextlib import suppress
from pathlib import Path

import duckdb

from pipeline.home import Home
from pipeline.kept_sweeps.places import ASIDE, BY_SHOP, aside, card_path, current
from pipeline.kept_sweeps.storage import storage_of
from pipeline.statements import connect, run
from pipeline.warehouse.publish import Manifest, published

Named = dict[int, set[str]]


def settle_files(home: Home) -> None:
    """Lay the files of the newest version by shop and month, those of others aside, tidy the rest.

    The caller holds the home. Samples by handed-in file go, too: whatever stands is in the newest
    version's files. A file that somebody holds open where the system minds stays until next time.
    """
    named = names_by_version(home)
    if named is None or not named:
        return
    newest = named[max(named)]
    storage = storage_of(home)
    written = set(storage.files(ASIDE))
    for name in sorted(newest):
        if aside(name) in written:
            storage.move(aside(name), current(name))
    of_others = set().union(*named.values()) - newest
    for place in storage.files(BY_SHOP):
        name = place.removeprefix(f"{BY_SHOP}/")
        if name in of_others:
            storage.move(place, aside(name))
        elif name not in newest:
            storage.remove(place)
    held = {aside(name) for name in of_others}
    for place in storage.files(ASIDE):
        if place not in held:
            storage.remove(place)
    _remove_cards(home, newest | of_others)
    _remove_all(home.sweeps)


def names_by_version(home: Home) -> Named | None:
    """Files that each version holds; None where one cannot be asked, so that nothing may go."""
    found = {}
    for manifest in published(home):
        try:
            found[manifest.version] = _names_in(manifest)
        except duckdb.CatalogException:
            continue  # published by code that knew no such files
        except duckdb.Error:
            return None
    return found


def _names_in(manifest: Manifest) -> set[str]:
    connection = connect(manifest.path, read_only=True)
    try:
        return {name for (name,) in run(connection, "warehouse/sql/sweep_parts_named").fetchall()}
    finally:
        connection.close()


def _remove_cards(home: Home, names: set[str]) -> None:
    kept = {card_path(home, name).name for name in names}
    for path in home.sweep_cards.glob("*.json"):
        if path.name not in kept:
            path.unlink(missing_ok=True)


def _remove_all(folder: Path) -> None:
    for path in folder.glob("*.parquet"):
        with suppress(PermissionError):  # held open where the system minds: another time
            path.unlink(missing_ok=True)
