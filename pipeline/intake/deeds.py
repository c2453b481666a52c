"""The record of deeds: who handed in, corrected, answered, set, built, stopped, copied, restored.

It stands in ``deeds/`` of the data home, in files that are only ever appended to, one line a deed
(:mod:`pipeline.deed_lines`). Each line also says up to where the record goes, so that what a killed
process left out is found and made up: a hand-in from its own card, which says who handed it in and
appears together with its files; a version from its manifest; settings changed past the record (in
an editor, say) from their digest.
"""

from __future__ import annotations

import hashlib
import os
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import ExitStack, contextmanager, suppress
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from filelock import FileLock, Timeout

from pipeline.asker import Asker, whoever_is_here
from pipeline.deed_lines import Standing, deed_of, line_of, standing_of
from pipeline.home import Home, HomeError, sync_folder
from pipeline.intake.hand_in_cards import CARD, card_of, hand_in_folders

SETTINGS_CHANGED, COLUMNS_NAMED = "settings_changed", "columns_named"
ADVISED, BACKED_UP, RESTORED = "advised", "backed_up", "restored"
BUILD_STOPPED = "build_stopped"
#: Who stands for a version: a build takes up what many entered.
BUILDER = "the builder"
#: A file is left for the next one from this size on, so that none grows without end.
FULL_BYTES = 4_000_000
_FILES_NAMED = 20
_PATIENCE_S = 20
# as bytes, also on systems that would change line ends
_APPEND = os.O_WRONLY | os.O_APPEND | os.O_CREAT | getattr(os, "O_BINARY", 0)
_TAIL_BYTES = 1 << 16
#: Files of the owner's that are changed with the record, and what a change of them is called.
_FOLLOWED = {
    "settings": ("settings.toml", SETTINGS_CHANGED),
    "column_names": ("column_names.json", COLUMNS_NAMED),
}


@dataclass(frozen=True)
class Version:
    """What is told of one published version."""

    version: int
    built_at: str
    as_of: str
    shape: str
    hand_in: int


@dataclass
class _Record:
    """The record held for writing: its last file and line, and what is to be written behind it."""

    path: Path
    stands: Standing
    tail: bytes | None
    is_cut: bool
    to_write: list[bytes] = field(default_factory=list)

    def add(self, told: Mapping[str, object], **stands: Any) -> None:
        """One deed more, ``stands`` being what it brings up to date."""
        self.stands = replace(self.stands, number=self.stands.number + 1, **stands)
        deed = dict(told) | ({"after_cut": True} if self.is_cut and not self.to_write else {})
        self.tail = line_of(deed, self.stands, self.tail)
        self.to_write.append(self.tail)

    def write(self) -> None:
        """Bring what was added to the disk, for good."""
        if not self.to_write:
            return
        content = b"".join(line + b"\n" for line in self.to_write)
        if self.is_cut:
            content = b"\n" + content
        elif self.path.exists() and self.path.stat().st_size >= FULL_BYTES:
            self.path = _file(self.path.parent, int(self.path.stem) + 1)
        is_new = not self.path.exists()
        number = os.open(self.path, _APPEND, 0o600)
        try:
            while content:
                content = content[os.write(number, content) :]
            os.fsync(number)
        finally:
            os.close(number)
        if is_new:
            sync_folder(self.path.parent)
        self.to_write, self.is_cut = [], False


@contextmanager
def _held(home: Home) -> Iterator[_Record]:
    """Hold the record for writing; whoever else writes waits.

    Raises
    ------
    HomeError
        Somebody else holds it for long.
    """
    home.refuse_newer()
    home.deeds.mkdir(parents=True, exist_ok=True)
    lock = FileLock(home.deeds / "lock", timeout=_PATIENCE_S)
    try:
        lock.acquire()
    except Timeout as error:
        raise HomeError(f"Another program holds the record of deeds, {home.deeds}.") from error
    try:
        yield _last(home)
    finally:
        lock.release()


@contextmanager
def kept_still(home: Home) -> Iterator[None]:
    """Keep the record, and the settings that are changed with it, as they are for a moment."""
    with ExitStack() as held:
        if home.deeds.exists():
            with suppress(OSError):  # where nobody can write, it is still by itself
                held.enter_context(_held(home))
        yield


def note(home: Home, deed: str, said: Mapping[str, object], asker: Asker | None = None) -> None:
    """Add one deed to the record, behind whatever it lacks.

    Raises
    ------
    HomeError, OSError
        It cannot be written.
    """
    with _held(home) as record:
        _make_up(home, record)
        record.add(_told(deed, said, asker or whoever_is_here()))
        record.write()


@contextmanager
def changing(
    home: Home, followed: str, after: bytes, said: Mapping[str, object], asker: Asker | None = None
) -> Iterator[None]:
    """Tell of a change of ``settings`` or ``column_names`` first, then let it be made.

    Killed between the two, the record tells of a change that was not made, and next time that the
    file was found otherwise; never is a change in force that nobody stands for.

    Raises
    ------
    HomeError, OSError
        The record cannot be written; nothing is to be changed then.
    """
    with held_for_change(home, followed, asker) as tell:
        tell(after, said)
        yield


@contextmanager
def held_for_change(
    home: Home, followed: str, asker: Asker | None = None
) -> Iterator[Callable[[bytes, Mapping[str, object]], None]]:
    """Hold one of both files from its reading to its writing, so that no change undoes another.

    What is given tells of the change, as in :func:`changing`: the file's bytes as they are to be,
    and what is said of it. It is called before the file is written; not at all where none is.

    Raises
    ------
    HomeError, OSError
        The record cannot be written; nothing is to be changed then.
    """
    with _held(home) as record:
        _make_up(home, record)

        def tell(after: bytes, said: Mapping[str, object]) -> None:
            told = _told(_FOLLOWED[followed][1], said, asker or whoever_is_here())
            record.add(told, **{followed: hashlib.sha256(after).hexdigest()})
            record.write()

        yield tell


def make_up(home: Home, versions: Iterable[Version] = ()) -> None:
    """Tell of every hand-in, version and change of settings that the record lacks.

    Raises
    ------
    HomeError, OSError
        The record cannot be written, or a hand-in's card is damaged: what came before it is told.
    """
    with _held(home) as record:
        _make_up(home, record, versions)


def make_up_if_possible(home: Home, versions: Iterable[Version] = ()) -> None:
    """The same where what is told of is durable already: what fails is made up another time."""
    with suppress(OSError, HomeError):
        make_up(home, versions)


def _told(deed: str, said: Mapping[str, object], asker: Asker | None) -> dict[str, object]:
    """A deed as the record tells it; without an asker, by whom is not known."""
    return {
        "at": datetime.now(UTC).isoformat(timespec="seconds"),
        "who": asker.name if asker else "",
        "role": asker.role if asker else "",
        "deed": deed,
        "said": dict(said),
    }


def _make_up(home: Home, record: _Record, versions: Iterable[Version] = ()) -> None:
    try:
        told = record.stands.hand_in
        lacking = [found for found in hand_in_folders(home) if int(found.name) > told]
        for folder in sorted(lacking, key=lambda found: int(found.name)):
            record.add(hand_in_deed(folder), hand_in=int(folder.name))
        for version in sorted(versions, key=lambda found: found.version):
            if version.version > record.stands.version:
                record.add(_version_deed(version), version=version.version)
        _follow_files(home, record)
    finally:
        record.write()


def _follow_files(home: Home, record: _Record) -> None:
    for followed, (name, deed) in _FOLLOWED.items():
        found, before = _digest(home.root / name), getattr(record.stands, followed)
        if found == before:
            continue
        if before:
            how = f"{name} was found {'changed' if found else 'gone'}"
            record.add(_told(deed, {"how": how}, None), **{followed: found})
        else:  # as it is when the record first meets it
            meets: dict[str, Any] = {followed: found}
            record.stands = replace(record.stands, **meets)


def hand_in_deed(folder: Path) -> dict[str, object]:
    """What a hand-in's card tells the record.

    Raises
    ------
    HomeError
        The card is damaged.
    """
    card = card_of(folder)
    person = card.get("handed_in_by") or {}
    names = [file["name"] for file in card["files"]]
    said = {
        "hand_in": int(folder.name),
        "files": names[:_FILES_NAMED],
        "file_count": len(names),
        **card.get("said", {}),
        "card": _digest(folder / CARD),
    }
    return {
        "at": card["handed_in_at"],
        "who": str(person.get("name", "")),
        "role": str(person.get("role", "")),
        "deed": str(card.get("deed", "handed_in")),
        "said": said,
    }


def _version_deed(version: Version) -> dict[str, object]:
    said = {"version": version.version, "as_of": version.as_of, "hand_in": version.hand_in}
    deed = _told(ADVISED, said | {"shape": version.shape}, None)
    return deed | {"at": version.built_at, "who": BUILDER}


def _digest(path: Path) -> str:
    try:
        return hashlib.sha256(path.read_bytes()).hexdigest()
    except FileNotFoundError:
        return ""


def _file(folder: Path, number: int) -> Path:
    return folder / f"{number:06d}.jsonl"


def record_files(home: Home) -> list[Path]:
    """The files of a record, in order."""
    return sorted(path for path in home.deeds.glob("*.jsonl") if path.stem.isdigit())


def lines_of(path: Path) -> list[bytes]:
    """The lines of one file, without their ends."""
    return [line for line in path.read_bytes().split(b"\n") if line]


def _last(home: Home) -> _Record:
    """Where the record ends, by the last file's end, or by all of it where that is damaged."""
    files = record_files(home)
    if not files:
        return _Record(_file(home.deeds, 1), Standing(), None, is_cut=False)
    is_cut, lines = _end_of(files[-1])
    stands = _last_standing(lines)
    if stands is None:
        lines = [line for path in files for line in lines_of(path)]
        stands = _last_standing(lines) or Standing()
    return _Record(files[-1], stands, lines[-1] if lines else None, is_cut)


def _end_of(path: Path) -> tuple[bool, list[bytes]]:
    """Whether a file's last line was cut short, and its last lines."""
    with path.open("rb") as file:
        size = file.seek(0, os.SEEK_END)
        file.seek(max(0, size - _TAIL_BYTES))
        content = file.read()
    lines = content.split(b"\n")
    if size > _TAIL_BYTES:
        lines = lines[1:]  # begun before what was looked at
    return bool(content) and not content.endswith(b"\n"), [line for line in lines if line]


def _last_standing(lines: list[bytes]) -> Standing | None:
    deeds = (deed_of(line) for line in reversed(lines))
    return next((standing_of(deed) for deed in deeds if deed is not None), None)
