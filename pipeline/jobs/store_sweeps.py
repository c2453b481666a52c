"""Bring the samples of a home to another storage, and have them stored there from then on."""

from __future__ import annotations

import shutil
import uuid
from pathlib import Path
from typing import Any

from pipeline.home import Home
from pipeline.jobs.progress import LongWork
from pipeline.kept_sweeps.places import ASIDE, BY_SHOP
from pipeline.kept_sweeps.storage import (
    OnDisk,
    Shared,
    Storage,
    StorageError,
    refuse_odd,
    said_of,
    storage_of,
    store_at,
)


def store_sweeps(home: Home, url: str, *, work: LongWork | None = None) -> int:
    """Copy all files of samples to the storage at ``url``, or home where it is empty; then switch.

    Readers go on meanwhile. Begun again after a kill it goes on: files are copied over, and the
    home is told of the new storage only once all are there. Returns the number of files.

    Raises
    ------
    StorageError
        The address is none, the storage cannot be used, or another home's samples lie there.
    HomeError
        Another builder is at work.
    """
    url = url.rstrip("/")
    if url:
        refuse_odd(url)
    with home.one_builder():
        said, _ = said_of(home)
        if url == said:
            store_at(home, url)  # also of a home that was moved
            return 0
        old: Storage = storage_of(home)
        new: Storage = Shared(url) if url else OnDisk(home.root)
        _refuse_taken(new, old)
        places = [*old.files(BY_SHOP), *old.files(ASIDE)]
        for place in (work or LongWork()).each("Copying files of samples", "file", places):
            _copy(home, old, new, place)
        store_at(home, url)
        for place in places:
            old.remove(place)
    return len(places)


def _refuse_taken(new: Storage, old: Storage) -> None:
    """Two homes in one place would take each other's samples away."""
    ours = {*old.files(BY_SHOP), *old.files(ASIDE)}
    others = [place for place in (*new.files(BY_SHOP), *new.files(ASIDE)) if place not in ours]
    if others:
        raise StorageError(
            f"Samples that are not this home's lie there already ({others[0]}): choose a folder of "
            "its own for each home."
        )


def _copy(home: Home, old: Storage, new: Storage, place: str) -> None:
    draft = home.sweeps_aside / f"{uuid.uuid4().hex}.draft"
    with _opened(old.source(place)) as file, draft.open("wb") as copy:
        shutil.copyfileobj(file, copy)
    new.put(draft, place)


def _opened(source: Any) -> Any:
    return source.open("rb") if isinstance(source, Path) else source
