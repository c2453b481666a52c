"""Publish a finished warehouse: a new file for each version, and a manifest that points to it.

Nothing is ever replaced while someone may have it open: a version gets a name of its own, its
manifest appears last and whole, and readers take the newest version that has one.
"""

from __future__ import annotations

import json
import os
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import asdict, dataclass
from pathlib import Path

from pipeline.home import Home, write_new
from pipeline.intake.deeds import Version
from pipeline.warehouse.shape import current_shape

KEPT_VERSIONS = 3


@dataclass(frozen=True)
class Manifest:
    """What is known of one published version without opening it.

    ``hand_in`` is the last one it holds.
    """

    version: int
    path: Path
    built_at: str
    as_of: str
    kind: str
    shape: str
    hand_in: int

    @property
    def is_current(self) -> bool:
        """Whether the code at hand makes and reads warehouses of this shape."""
        return self.shape == current_shape()


def newest(home: Home) -> Manifest | None:
    """The newest published version, or None; a damaged manifest is passed over."""
    return next(published(home), None)


def published(home: Home) -> Iterator[Manifest]:
    """The versions still there, newest first; a damaged manifest is passed over."""
    for path in sorted(_manifests(home), reverse=True):
        with suppress(OSError, ValueError, KeyError):
            card = json.loads(path.read_text(encoding="utf-8"))
            warehouse = home.published / card["warehouse"]
            if warehouse.exists():
                yield Manifest(
                    int(path.stem),
                    warehouse,
                    card["built_at"],
                    card["as_of"],
                    card["kind"],
                    card["shape"],
                    card["hand_in"],
                )


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


def publish(
    home: Home, draft: Path, *, built_at: str, as_of: str, kind: str, hand_in: int
) -> Manifest:
    """Give the finished draft the next version's name, then its manifest; tidy old versions."""
    version = 1 + _last_version(home)
    final = home.published / f"warehouse-{version:06d}.duckdb"
    _remove(final)  # a build killed between the two renames left it without a manifest
    draft.rename(final)
    manifest = Manifest(version, final, built_at, as_of, kind, current_shape(), hand_in)
    known = asdict(manifest)
    card = {"warehouse": known.pop("path").name, **known}
    write_new(home.published / f"{version:06d}.json", json.dumps(card) + "\n")
    for old in sorted(_manifests(home))[:-KEPT_VERSIONS]:
        if _remove(home.published / f"warehouse-{old.stem}.duckdb"):
            _remove(old)
    return manifest


def _last_version(home: Home) -> int:
    """The last number given, also where the versions themselves were lost or not restored."""
    numbered = [*_manifests(home), *home.advised.glob("*.parquet")]
    return max((int(path.stem) for path in numbered if path.stem.isdigit()), default=0)


def _manifests(home: Home) -> list[Path]:
    return [path for path in home.published.glob("*.json") if path.stem.isdigit()]


def _remove(path: Path) -> bool:
    """Remove a file if nobody holds it; where the system refuses, it goes another time."""
    try:
        path.unlink(missing_ok=True)
    except PermissionError:
        return False
    return True
