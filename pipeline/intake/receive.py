"""Receive a hand-in: copy the files into the home, as they came, under the next number.

Nobody has to hold the home for it: a hand-in takes its number by appearing under it, so that two
at once get two numbers, and a builder at work takes those up that were there when it began.
"""

from __future__ import annotations

import hashlib
import json
import os
import shutil
import uuid
from dataclasses import dataclass
from datetime import UTC, date, datetime
from pathlib import Path

from pipeline.home import Home, HomeError, sync_folder, write_new

CARD = "hand_in.json"


@dataclass(frozen=True)
class HandedFile:
    """One file of one hand-in. ``trouble`` says why it cannot be read at all, if so."""

    hand_in: int
    file_no: int
    name: str
    path: Path
    handed_in_on: date
    trouble: str = ""

    @property
    def stem(self) -> str:
        """Name under which everything derived from this file is kept."""
        return f"{self.hand_in:06d}-{self.file_no:04d}"


def receive(home: Home, paths: list[Path], now: datetime | None = None) -> int:
    """Copy files, and the files of folders, into the home; return the number of the hand-in.

    Within one hand-in, later means later by file name (units before units-2). The hand-in
    appears under its number whole or not at all.
    """
    for path in paths:
        if not path.exists() and not path.is_symlink():
            raise HomeError(f"No such file or folder: {path}. Nothing was taken in.")
    found = sorted(_found(paths), key=lambda path: (path.stem, path.name, str(path)))
    if not found:
        raise HomeError("Nothing to hand in: no file there.")
    draft = home.handed_in / f".draft-{uuid.uuid4().hex}"
    draft.mkdir(parents=True)
    try:
        files = [_copy(path, draft, file_no) for file_no, path in enumerate(found, start=1)]
        card = {"handed_in_at": (now or datetime.now(UTC)).isoformat(), "files": files}
        write_new(draft / CARD, json.dumps(card, indent=1) + "\n")
        sync_folder(draft)
        return _take_number(home, draft)
    finally:
        shutil.rmtree(draft, ignore_errors=True)


def last_hand_in(home: Home) -> int:
    """Number of the last hand-in, 0 where there is none."""
    return max((int(folder.name) for folder in _folders(home)), default=0)


def handed_in_at(home: Home, number: int) -> datetime | None:
    """When a hand-in came, None where there is none of that number or its card is damaged."""
    try:
        card = json.loads((home.handed_in / f"{number:06d}" / CARD).read_text(encoding="utf-8"))
        return datetime.fromisoformat(card["handed_in_at"])
    except (OSError, ValueError, KeyError, TypeError):
        return None


def _take_number(home: Home, draft: Path) -> int:
    """Let a finished draft appear under the next free number.

    A folder that holds something is never replaced by a rename: whoever comes second tries the
    number after it.
    """
    while True:
        number = last_hand_in(home) + 1
        final = home.handed_in / f"{number:06d}"
        try:
            draft.rename(final)
        except OSError:
            if not final.exists():
                raise
        else:
            sync_folder(home.handed_in)
            return number


def handed_files(home: Home, *, after: int = 0) -> list[HandedFile]:
    """Every file handed in, in order; those of hand-ins after a number only, where one is given."""
    folders = sorted(folder for folder in _folders(home) if int(folder.name) > after)
    return [file for folder in folders for file in _files_of(folder)]


def _files_of(folder: Path) -> list[HandedFile]:
    try:
        card = json.loads((folder / CARD).read_text(encoding="utf-8"))
        handed_in_on = datetime.fromisoformat(card["handed_in_at"]).date()
        return [
            HandedFile(
                int(folder.name),
                int(file["file_no"]),
                file["name"],
                folder / file["stored"],
                handed_in_on,
                file["trouble"],
            )
            for file in card["files"]
        ]
    except (OSError, ValueError, KeyError, TypeError) as error:
        raise HomeError(
            f"{folder / CARD} is damaged ({error}); put it back from a copy."
        ) from error


def _folders(home: Home) -> list[Path]:
    if not home.handed_in.exists():
        return []
    return [folder for folder in home.handed_in.iterdir() if folder.name.isdigit()]


def _found(paths: list[Path]) -> list[Path]:
    found: list[Path] = []
    for path in paths:
        inside = path.iterdir() if path.is_dir() else [path]
        found += [item for item in inside if not item.name.startswith(".")]
    return found


def _copy(path: Path, draft: Path, file_no: int) -> dict:
    """Copy one file under a number of ours, so that no name from outside becomes a path."""
    stored = f"{file_no:04d}{path.suffix.lower() if path.suffix.isascii() else ''}"
    trouble = _trouble(path)
    digest = ""
    if not trouble:
        try:
            shutil.copyfile(path, draft / stored)
            with (draft / stored).open("rb+") as copy:
                digest = hashlib.file_digest(copy, "sha256").hexdigest()
                os.fsync(copy.fileno())
        except OSError as error:
            trouble = f"the file could not be read: {error.strerror}"
    return {
        "file_no": file_no,
        "name": os.fsencode(path.name).decode("utf-8", errors="replace"),
        "stored": stored,
        "sha256": digest,
        "trouble": trouble,
    }


def _trouble(path: Path) -> str:
    if path.is_dir():
        return "a folder, where a file was expected; hand the folder in by itself"
    if not path.exists():
        return "no such file"
    if not path.is_file():
        return "not an ordinary file"
    return ""
