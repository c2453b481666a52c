"""Half files that a killed or starved process left behind; no reader ever takes one for whole."""

from __future__ import annotations

import os
import shutil
import time
from collections.abc import Iterator
from pathlib import Path

from pipeline.home import Home

#: Pages write without holding the home: what they began less than this ago may still be written.
STILL_WRITTEN_S = 3600.0
_SET_BY = ".set_by-"


def set_by(home: Home) -> Path:
    """Where derived files wait while this process makes them anew from nothing."""
    return home.root / f"{_SET_BY}{os.getpid()}"


def leftovers(home: Home) -> list[Path]:
    """Drafts that nobody is writing any more. The caller holds the home, or takes some in work."""
    return sorted([*_of_builders(home), *_of_anyone(home)])


def tidy(home: Home) -> None:
    """Take leftovers away; the caller holds the home."""
    for path in leftovers(home):
        if path.is_dir():
            shutil.rmtree(path, ignore_errors=True)
        else:
            path.unlink(missing_ok=True)


def _of_builders(home: Home) -> Iterator[Path]:
    """In folders that only a builder writes to."""
    for path in home.root.glob(f"{_SET_BY}*"):
        if path != set_by(home):
            yield path
    for folder in (
        *(home.rows, home.sweeps, home.sweeps_aside, home.sweep_cards),
        *(home.measured, home.kept_models, home.published),
    ):
        for path in _inside(folder):
            if path.name.startswith(".") or path.suffix == ".draft":
                yield path


def _of_anyone(home: Home) -> Iterator[Path]:
    """In folders that pages and backups write to beside a builder."""
    for folder in (home.root, home.to_correct, home.advised, home.given_out, home.handed_in):
        for path in _inside(folder):
            is_draft = path.name.startswith(".draft-") or (
                path.name.startswith(".") and path.is_file()
            )
            if is_draft and time.time() - path.stat().st_mtime > STILL_WRITTEN_S:
                yield path


def _inside(folder: Path) -> list[Path]:
    return list(folder.iterdir()) if folder.is_dir() else []
