"""Bring the files of samples to their places once a version is published, and take others away.

What ought to be where follows from the published versions alone, so that a build killed half-way
through is made up for by the next.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path

import duckdb

from pipeline.home import Home
from pipeline.kept_sweeps.places import aside, card_path, current
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
    for name in sorted(newest):
        if aside(home, name).exists():
            _move(aside(home, name), current(home, name))
    of_others = set().union(*named.values()) - newest
    for name, path in list(files_by_shop(home)):
        if name in newest:
            continue
        if name in of_others:
            _move(path, aside(home, name))
        else:
            _remove(path)
    held = {Path(name).name for name in of_others}
    for path in home.sweeps_aside.glob("*.parquet"):
        if path.name not in held:
            _remove(path)
    _remove_cards(home, newest | of_others)
    for path in home.sweeps.glob("*.parquet"):
        _remove(path)


def files_by_shop(home: Home) -> Iterator[tuple[str, Path]]:
    """Name and path of each file that lies by shop and month."""
    for path in sorted(home.sweeps_by_shop.glob("shop_id=*/month=*/*.parquet")):
        yield path.relative_to(home.sweeps_by_shop).as_posix(), path


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
            _remove(path)


def _move(path: Path, to: Path) -> None:
    with suppress(PermissionError):
        to.parent.mkdir(parents=True, exist_ok=True)
        path.replace(to)
        _remove_empty(path.parent)


def _remove(path: Path) -> None:
    with suppress(PermissionError):
        path.unlink(missing_ok=True)
        _remove_empty(path.parent)


def _remove_empty(folder: Path) -> None:
    """Folders of a month or shop without a file, as the last one went."""
    if folder.name.startswith("month="):
        with suppress(OSError):
            folder.rmdir()
            folder.parent.rmdir()
