"""Receive a hand-in: copy the files into the home, as they came, under the next number.

Nobody has to hold the home for it: a hand-in takes its number by appearing under it, so that two
at once get two numbers, and a builder at work takes those up that were there when it began.
"""

from __future__ import annotations

import hashlib
import json
import os
import shutil
import tempfile
import uuid
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime
from pathlib import Path

from pipeline.asker import Asker, whoever_is_here
from pipeline.home import Home, HomeError, sync_folder, write_new
from pipeline.intake.arriving import ArrivingFile, arrival
from pipeline.intake.column_names import Names, read_column_names
from pipeline.intake.deeds import make_up_if_possible
from pipeline.intake.hand_in_cards import CARD, HANDED_IN, card_of, hand_in_folders, last_hand_in
from pipeline.intake.loggers.recording import Recording

_COPY_BYTES = 1 << 20


class UnreadableError(HomeError):
    """A file that is handed in cannot be read; the message says why."""


@dataclass(frozen=True)
class HandedFile:
    """One file of one hand-in.

    ``trouble`` says why it cannot be read at all, if so; ``columns`` are pairs of a column's name
    in the file and ours; ``sha256`` is its hash when it came, empty where none was taken.
    """

    hand_in: int
    file_no: int
    name: str
    path: Path
    handed_in_on: date
    trouble: str = ""
    columns: tuple[tuple[str, str], ...] = ()
    sha256: str = ""

    @property
    def stem(self) -> str:
        """Name under which everything derived from this file is kept."""
        return f"{self.hand_in:06d}-{self.file_no:04d}"


def receive(
    home: Home,
    paths: Sequence[Path],
    now: datetime | None = None,
    *,
    tables: Mapping[str, str] | None = None,
    names: Names | None = None,
    asker: Asker | None = None,
    deed: str = HANDED_IN,
    said: Mapping[str, object] | None = None,
    beside: Sequence[Path] = (),
    recordings: Mapping[str, Recording] | None = None,
) -> int:
    """Copy files, and the files of folders, into the home; return the number of the hand-in.

    Within one hand-in, later means later by file name (units before units-2). The hand-in
    appears under its number whole or not at all. A workbook is kept as it came beside what its
    sheets hold; a file's columns that go by other names are written down, not changed. ``tables``
    names the table of files whose own name does not tell it, ``names`` what columns stand for
    where that is not what the home remembers. ``asker`` is who hands in (whoever is at this
    machine), ``deed`` what it amounts to and ``said`` what the record of deeds tells of it beside.
    ``beside`` are files that a file handed in was made from, kept with it as they came;
    ``recordings`` what was said of each file that is a logger's recording.
    Of who does not see all nothing is taken that reaches beyond their own records: an `EntryError`
    names each row.
    """
    # the check reads what was received before, so that neither can be loaded first
    from pipeline.access.scope.incoming import refuse_beyond

    who = asker or whoever_is_here()
    home.refuse_newer()
    for path in paths:
        if not path.exists() and not path.is_symlink():
            raise HomeError(f"No such file or folder: {path}. Nothing was taken in.")
    found = files_in(paths)
    if not found:
        raise HomeError("Nothing to hand in: no file there.")
    draft = home.handed_in / f".draft-{uuid.uuid4().hex}"
    try:
        draft.mkdir(parents=True)
        with tempfile.TemporaryDirectory(prefix="sheets-") as folder:
            known = read_column_names(home, who) if names is None else names
            arrived = arrival(found, Path(folder), tables, names=known, recordings=recordings)
            refuse_beyond(home, who, arrived.files)
            files = [_copy(file, draft, file_no) for file_no, file in enumerate(arrived.files, 1)]
        books = sorted({*beside, *(file.workbook for file in arrived.files if file.workbook)})
        card = {
            "handed_in_at": (now or datetime.now(UTC)).isoformat(),
            "handed_in_by": _person(who),
            "deed": deed,
            "said": dict(said or {}),
            "files": files,
            "workbooks": [_keep_workbook(path, draft, n) for n, path in enumerate(books, 1)],
            "left_out": arrived.left_out,
        }
        write_new(draft / CARD, json.dumps(card, indent=1) + "\n")
        sync_folder(draft)
        number = _take_number(home, draft)
    except OSError as error:
        raise HomeError(
            f"Nothing was taken in: {error.filename or home.handed_in}: {error.strerror}."
        ) from error
    finally:
        shutil.rmtree(draft, ignore_errors=True)
    make_up_if_possible(home)  # its card says all that the record of deeds is to tell
    return number


def handed_in_at(home: Home, number: int) -> datetime | None:
    """When a hand-in came, None where there is none of that number or its card is damaged."""
    try:
        return datetime.fromisoformat(card_of(home.handed_in / f"{number:06d}")["handed_in_at"])
    except HomeError:
        return None


def left_out(home: Home, number: int) -> list[str]:
    """Sentences on the sheets of workbooks that a hand-in did not take."""
    return list(card_of(home.handed_in / f"{number:06d}").get("left_out", ()))


def _person(asker: Asker) -> dict[str, str]:
    return {"name": asker.name, "role": asker.role}


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
    folders = sorted(folder for folder in hand_in_folders(home) if int(folder.name) > after)
    return [file for folder in folders for file in _files_of(folder)]


def _files_of(folder: Path) -> list[HandedFile]:
    card = card_of(folder)
    handed_in_on = datetime.fromisoformat(card["handed_in_at"]).date()
    return [
        HandedFile(
            int(folder.name),
            int(file["file_no"]),
            file["name"],
            folder / file["stored"],
            handed_in_on,
            file["trouble"],
            tuple(file.get("columns", {}).items()),
            str(file.get("sha256", "")),
        )
        for file in card["files"]
    ]


def files_in(paths: Iterable[Path]) -> list[Path]:
    """Files, and those of folders; hidden ones are passed over."""
    found: list[Path] = []
    for path in paths:
        inside = path.iterdir() if path.is_dir() else [path]
        found += [item for item in inside if not item.name.startswith(".")]
    return found


def _copy(file: ArrivingFile, draft: Path, file_no: int) -> dict:
    """Copy one file under a number of ours, so that no name from outside becomes a path."""
    suffix = file.path.suffix
    stored = f"{file_no:04d}{suffix.lower() if suffix.isascii() else ''}"
    trouble, digest = file.trouble, ""
    if file.path.is_file():
        try:
            digest = _kept_copy(file.path, draft / stored)
        except UnreadableError as error:
            trouble = f"the file could not be read: {error}"
    return {
        "file_no": file_no,
        "name": file.name,
        "came_as": file.came_as,
        "stored": stored,
        "sha256": digest,
        "columns": dict(file.columns),
        "said": list(file.said),
        "trouble": trouble,
    }


def _keep_workbook(path: Path, draft: Path, number: int) -> dict:
    stored = f"workbook-{number:04d}{path.suffix.lower()}"
    return {"name": path.name, "stored": stored, "sha256": _kept_copy(path, draft / stored)}


def _kept_copy(path: Path, target: Path) -> str:
    """Copy a file to the disk for good; its SHA-256.

    Raises
    ------
    UnreadableError
        It cannot be read.
    OSError
        The copy cannot be written, as on a full disk: no fault of the file.
    """
    digest = hashlib.sha256()
    with target.open("wb") as copy:
        for chunk in _chunks_of(path):
            copy.write(chunk)
            digest.update(chunk)
        copy.flush()
        os.fsync(copy.fileno())
    return digest.hexdigest()


def _chunks_of(path: Path) -> Iterator[bytes]:
    try:
        with path.open("rb") as file:
            while chunk := file.read(_COPY_BYTES):
                yield chunk
    except OSError as error:  # what is done with a chunk raises outside of here
        raise UnreadableError(error.strerror) from error
