"""Publish a finished warehouse: a new file for each version, and a manifest that points to it.

Nothing is ever replaced while someone may have it open: a version gets a name of its own, its
manifest appears last and whole, and readers take the newest version that has one. A version that
turns out to be damaged is marked and passed over, never in silence, until the next one is there.
"""

from __future__ import annotations

import itertools
import json
import os
import shutil
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import asdict, dataclass
from pathlib import Path

from pipeline.home import Home, sync_folder, write_new
from pipeline.intake.deeds import Version
from pipeline.intake.seals import digest_of
from pipeline.warehouse.shape import current_code, current_shape

KEPT_VERSIONS = 3


@dataclass(frozen=True)
class Manifest:
    """What is known of one published version without opening it.

    ``hand_in`` is the last one it holds, ``digest`` the SHA-256 of its file as it was published,
    ``code`` a digest of the code that made it; both are empty for one published before they were
    taken.
    """

    version: int
    path: Path
    built_at: str
    as_of: str
    kind: str
    shape: str
    hand_in: int
    digest: str = ""
    code: str = ""

    @property
    def is_current(self) -> bool:
        """Whether the code at hand makes and reads warehouses of this shape."""
        return self.shape == current_shape()


class DamagedVersionError(Exception):
    """A version cannot be read; the message says why, without a full stop."""


def newest(home: Home) -> Manifest | None:
    """The newest published version, or None; one that cannot be read is passed over."""
    return next(published(home), None)


def published(home: Home) -> Iterator[Manifest]:
    """The versions still there, newest first; those that cannot be read are passed over."""
    for path in _newest_first(home):
        with suppress(DamagedVersionError):
            yield read_manifest(home, path)


def passed_over(home: Home) -> dict[int, str]:
    """Versions newer than the newest that can be read, and why each cannot."""
    found = {}
    for path in _newest_first(home):
        try:
            read_manifest(home, path)
        except DamagedVersionError as error:
            if path.exists():  # else it was tidied away meanwhile
                found[int(path.stem)] = str(error)
        else:
            break
    return found


def read_manifest(home: Home, path: Path) -> Manifest:
    """One version by its manifest.

    Raises
    ------
    DamagedVersionError
        The manifest is damaged, or the warehouse is gone or marked as damaged.
    """
    try:
        card = json.loads(path.read_text(encoding="utf-8"))
        warehouse = home.published / str(card["warehouse"])
        built_at, as_of, kind, shape = (
            str(card[name]) for name in ("built_at", "as_of", "kind", "shape")
        )
        hand_in = int(card["hand_in"] or 0)
        digest, code = (str(card.get(name, "")) for name in ("digest", "code"))
    except (OSError, ValueError, KeyError, TypeError) as error:
        raise DamagedVersionError(f"its manifest published/{path.name} is damaged") from error
    if not warehouse.is_file():
        raise DamagedVersionError(f"its warehouse published/{warehouse.name} is gone")
    if _mark(home, int(path.stem)).exists():
        raise DamagedVersionError(f"its warehouse published/{warehouse.name} is damaged")
    of_it = (built_at, as_of, kind, shape, hand_in, digest, code)
    return Manifest(int(path.stem), warehouse, *of_it)


def mark_damaged(home: Home, manifest: Manifest, why: str) -> None:
    """Have every reader and builder pass a version over, and say why beside it."""
    with suppress(OSError):  # a home that cannot be written is still read
        write_new(_mark(home, manifest.version), why + "\n")


def versions(home: Home) -> list[Version]:
    """The versions still there, as the record of deeds tells of them."""
    return [Version(m.version, m.built_at, m.as_of, m.shape, m.hand_in) for m in published(home)]


def draft_path(home: Home) -> Path:
    """Where a warehouse is built before it is published.

    Only one builder runs at a time, so that any other draft was left by one that was killed.
    """
    for leftover in home.published.glob(".draft-*"):
        _remove(leftover)
    return home.published / f".draft-{os.getpid()}.duckdb"


@contextmanager
def no_draft_left(home: Home) -> Iterator[None]:
    """Take the draft of a build away where the build fails: a full disk needs the space."""
    try:
        yield
    except BaseException:
        for leftover in home.published.glob(".draft-*"):
            with suppress(OSError):
                _remove(leftover)
        raise


def publish(
    home: Home, draft: Path, *, built_at: str, as_of: str, kind: str, hand_in: int
) -> Manifest:
    """Give the finished draft the next version's name, then its manifest; tidy old versions."""
    version = 1 + _last_version(home)
    final = home.published / f"warehouse-{version:06d}.duckdb"
    _remove(final)  # a build killed between the two renames left it without a manifest
    _remove(_mark(home, version))  # of a version of that number whose manifest is gone
    draft.rename(final)
    shape, digest = current_shape(), digest_of(final)
    of_it = (built_at, as_of, kind, shape, hand_in, digest, current_code())
    manifest = Manifest(version, final, *of_it)
    known = asdict(manifest)
    card = {"warehouse": known.pop("path").name, **known}
    write_new(home.published / f"{version:06d}.json", json.dumps(card) + "\n")
    sync_folder(home.published)  # before the versions go that a power failure would need
    _tidy(home)
    return manifest


def _tidy(home: Home) -> None:
    """Keep the last versions that can be read, and take the others away."""
    kept = {found.version for found in itertools.islice(published(home), KEPT_VERSIONS)}
    for old in manifest_paths(home):
        if int(old.stem) in kept:
            continue
        if _remove(home.published / f"warehouse-{old.stem}.duckdb"):
            _remove(_mark(home, int(old.stem)))
            _remove(old)


def _last_version(home: Home) -> int:
    """The last number given, also where the versions themselves were lost or not restored."""
    numbered = [*manifest_paths(home), *home.advised.glob("*.parquet")]
    return max((int(path.stem) for path in numbered if path.stem.isdigit()), default=0)


def _newest_first(home: Home) -> list[Path]:
    return sorted(manifest_paths(home), key=lambda path: int(path.stem), reverse=True)


def _mark(home: Home, version: int) -> Path:
    return home.published / f"{version:06d}.damaged"


def manifest_paths(home: Home) -> list[Path]:
    """The manifests of all versions, in no order."""
    return [path for path in home.published.glob("*.json") if path.stem.isdigit()]


def _remove(path: Path) -> bool:
    """Remove a file if nobody holds it; where the system refuses, it goes another time.

    A folder is what DuckDB had no memory for and put beside a draft.
    """
    if path.is_dir():
        shutil.rmtree(path, ignore_errors=True)
        return not path.exists()
    try:
        path.unlink(missing_ok=True)
    except PermissionError:
        return False
    return True
