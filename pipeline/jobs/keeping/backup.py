"""Back a home up while it is in use: one tar file of what cannot be made again, read back at once.

Each hand-in appears whole under its number, so that one that comes meanwhile is in whole or not at
all. The record of deeds, the settings and the column names are taken at one moment.
"""

from __future__ import annotations

import io
import json
import os
import tarfile
import uuid
from collections.abc import Callable, Iterator
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from typing import IO, cast

import duckdb

from pipeline.asker import Asker
from pipeline.home import Home, HomeError, sync_folder
from pipeline.intake.deeds import BACKED_UP, kept_still, note, record_files
from pipeline.intake.hand_in_cards import card_of, hand_in_folders, last_hand_in
from pipeline.intake.seals import size_of
from pipeline.jobs.keeping.backup_format import (
    FIRST,
    FORMAT,
    KEPT_FILES,
    LAST,
    Backup,
    Hashing,
    hash_line,
    is_kept_folder,
    read_backup,
)
from pipeline.jobs.progress import BYTES, LongWork
from pipeline.warehouse.advised import keep_advised
from pipeline.warehouse.given_out import keep_events
from pipeline.warehouse.publish import newest
from pipeline.warehouse.record_digests import record_digests

_COPY_BYTES = 1 << 20
_NEW = os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0)


@dataclass(frozen=True)
class Made:
    """A backup made; ``warnings`` are sentences on what was found amiss in the home meanwhile."""

    backup: Backup
    warnings: list[str]


@dataclass
class _Picture:
    """What a home held at one moment: small files themselves, and the names of the others."""

    small: dict[str, bytes] = field(default_factory=dict)
    sizes: dict[str, int] = field(default_factory=dict)
    last_hand_in: int = 0
    total_bytes: int = 0


def back_up(
    home: Home,
    target: Path,
    *,
    asker: Asker | None = None,
    work: LongWork | None = None,
    now: datetime | None = None,
) -> Made:
    """Write a backup of a home and read it back.

    Parameters
    ----------
    home : Home
        In use or not.
    target : Path
        The file to write, which must not be there yet, or a folder to write it into under a name
        made of the home's and the moment. Not inside the home itself.
    asker : Asker, optional
        Who backs it up, for the record of deeds; whoever is at this machine.
    work : LongWork, optional
        Who is told of what is being done, and how far it is.
    now : datetime, optional
        The present moment.

    Raises
    ------
    HomeError
        There are no records, they are of a newer layout, the target cannot be taken, or the backup
        cannot be written; no half of it is left.
    BackupError
        What was written does not read back as it was; it is taken away again.
    """
    if home.kind is None:
        raise HomeError(f"{home.root} holds no records yet: there is nothing to back up.")
    moment, work = now or datetime.now(UTC), work or LongWork()
    path = _target(home, target, moment)
    work.stage("Noting what there is")
    _keep_what_versions_hold(home)
    with kept_still(home):
        picture = _picture(home)
    head = _head(home, picture, moment)
    draft = path.with_name(f".{path.name}.{uuid.uuid4().hex}")
    try:
        total = picture.total_bytes
        with work.counted("Copying what cannot be made again", BYTES, total) as step:
            warnings = _write(home, draft, picture, head, step)
        with work.counted("Reading the backup back", BYTES, total) as step:
            read = read_backup(draft, step)
        draft.rename(path)
        sync_folder(path.parent)
    except OSError as error:
        raise HomeError(f"{path} could not be made: {error}. No half of it is left.") from error
    finally:
        draft.unlink(missing_ok=True)
    backup = Backup(path, head, read.hashes, read.size)
    return Made(backup, warnings + _noted(home, backup, asker))


def _keep_what_versions_hold(home: Home) -> None:
    """Advice and visits of a version whose build was killed before keeping them."""
    if not home.is_being_built:
        with suppress(OSError):
            keep_advised(home)
            keep_events(home)


def _noted(home: Home, backup: Backup, asker: Asker | None) -> list[str]:
    said = {"file": backup.path.name, "hand_in": backup.last_hand_in}
    try:
        note(home, BACKED_UP, said, asker)
    except (OSError, HomeError) as error:
        return [f"The backup is made; the record of deeds does not tell of it: {error}"]
    return []


def _target(home: Home, target: Path, moment: datetime) -> Path:
    path = target.expanduser().resolve()
    if path.is_dir():
        path = path / f"wear-atlas-{home.root.name}-{moment:%Y%m%dT%H%M%SZ}.tar"
    if path.is_relative_to(home.root.resolve()):
        raise HomeError(
            f"{path} lies in the data home itself: choose a place outside, best on another disk."
        )
    if path.exists():
        raise HomeError(
            f"{path} is there already, and no backup is ever replaced: choose another name."
        )
    if not path.parent.is_dir():
        raise HomeError(f"No such folder: {path.parent}.")
    return path


def _picture(home: Home) -> _Picture:
    """What is there now. The record only grows, so that its size says which part of it."""
    picture = _Picture(last_hand_in=last_hand_in(home))
    for name in KEPT_FILES:
        path = home.root / name
        if path.exists():
            picture.small[name] = path.read_bytes()
    for path in record_files(home):
        picture.sizes[f"deeds/{path.name}"] = path.stat().st_size
    for path in _whole_files(home, picture.last_hand_in):
        picture.sizes[path.relative_to(home.root).as_posix()] = -1
    picture.total_bytes = sum(map(len, picture.small.values())) + sum(
        size if size >= 0 else size_of(home.root / name) for name, size in picture.sizes.items()
    )
    return picture


def _whole_files(home: Home, last: int) -> Iterator[Path]:
    """Files that are never changed once they have their name.

    Of hand-ins those up to the last one of the picture: another may appear at any moment.
    """
    for folder in sorted(hand_in_folders(home), key=lambda found: int(found.name)):
        if int(folder.name) <= last:
            yield from _files(folder)
    for folder in sorted(home.root.iterdir()):
        if (
            folder.is_dir()
            and is_kept_folder(folder.name)
            and folder.name not in ("handed_in", "deeds")
        ):
            yield from _files(folder)


def _files(folder: Path) -> Iterator[Path]:
    """Files of a folder and those below, without drafts."""
    for path in sorted(folder.iterdir()):
        if path.name.startswith(".") or path.suffix == ".half":
            continue
        if path.is_dir():
            yield from _files(path)
        elif path.name != "lock":
            yield path


def _head(home: Home, picture: _Picture, moment: datetime) -> dict:
    return {
        "wear_atlas_backup": FORMAT,
        "layout": home.layout,
        "kind": home.kind,
        "made_at": moment.isoformat(timespec="seconds"),
        "last_hand_in": picture.last_hand_in,
        "records": _records(home),
    }


def _records(home: Home) -> dict | None:
    """What is published, for the restored home to be held against; None where it cannot be read."""
    found = newest(home)
    if found is None:
        return None
    try:
        tables = record_digests(found)
    except duckdb.Error:
        return None
    known = {"version": found.version, "hand_in": found.hand_in, "shape": found.shape}
    return known | {"tables": {name: list(of) for name, of in tables.items()}}


def _write(
    home: Home, draft: Path, picture: _Picture, head: dict, told: Callable[[int], object]
) -> list[str]:
    hashes: dict[str, str] = {}
    number = os.open(draft, _NEW, 0o600)
    with os.fdopen(number, "wb") as out:
        with tarfile.TarFile(
            fileobj=out, mode="w", format=tarfile.PAX_FORMAT, copybufsize=_COPY_BYTES
        ) as tar:
            first = (json.dumps(head, indent=1) + "\n").encode()
            hashes[FIRST] = _add(tar, FIRST, io.BytesIO(first), len(first))
            for name, content in picture.small.items():
                hashes[name] = _add(tar, name, io.BytesIO(content), len(content), told)
            for name, size in picture.sizes.items():
                digest = _add_file(tar, home.root / name, name, size, told)
                if digest is not None:
                    hashes[name] = digest
            listed = "".join(hash_line(name, digest) for name, digest in hashes.items()).encode()
            _add(tar, LAST, io.BytesIO(listed), len(listed))
        out.flush()
        os.fsync(out.fileno())
    return _not_as_they_came(home, hashes)


def _add_file(
    tar: tarfile.TarFile, path: Path, name: str, size: int, told: Callable[[int], object]
) -> str | None:
    """Copy one file; None for one dropped meanwhile: a draft, or visits that newer ones follow."""
    try:
        file = path.open("rb")
    except FileNotFoundError:
        if name.startswith(("drafts/", "given_out/")):
            return None
        raise
    with file:
        return _add(tar, name, file, os.fstat(file.fileno()).st_size if size < 0 else size, told)


def _add(
    tar: tarfile.TarFile,
    name: str,
    file: IO[bytes],
    size: int,
    told: Callable[[int], object] = lambda count: None,
) -> str:
    member = tarfile.TarInfo(name)
    member.size, member.mode = size, 0o600
    hashing = Hashing(file, told)
    tar.addfile(member, cast("IO[bytes]", hashing))  # only read() is asked for
    return hashing.sha256


def _not_as_they_came(home: Home, hashes: dict[str, str]) -> list[str]:
    """Files that are no longer what their hand-in's card says: copied, and told of."""
    return [
        f"{name} is not as it was when it came: the backup holds it as it is now."
        for name, wanted in hashes_on_cards(home).items()
        if name in hashes and hashes[name] != wanted
    ]


def hashes_on_cards(home: Home) -> dict[str, str]:
    """SHA-256 of every file handed in as its card has it; a damaged card is passed over."""
    found: dict[str, str] = {}
    for folder in hand_in_folders(home):
        try:
            card = card_of(folder)
        except HomeError:
            continue
        for file in [*card["files"], *card.get("workbooks", ())]:
            if file.get("sha256"):
                found[f"handed_in/{folder.name}/{file['stored']}"] = file["sha256"]
    return found
