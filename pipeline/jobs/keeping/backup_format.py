"""What a backup is: a plain tar file of the part of a home that cannot be made again.

``backup.json`` comes first and says of what home it is; ``hashes.sha256`` comes last, one line a
file as ``sha256sum --check`` reads them. Whatever is changed, cut off or slipped in between shows.
A backup is not signed: who can write to it can make another one.
"""

from __future__ import annotations

import hashlib
import json
import os
import re
import tarfile
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import IO, cast

from pipeline.home import DEMO, OWN, HomeError
from pipeline.home_layouts import LAYOUT

FORMAT = 1
FIRST, LAST = "backup.json", "hashes.sha256"
#: Files of a home that a backup holds where they are there. Keys, certificates and secrets never
#: stand in a home; whatever else lies there is left out.
KEPT_FILES = ("home.json", "settings.toml", "column_names.json", "people.toml", "network.toml")
KEPT_FOLDERS = ("handed_in", "advised", "given_out", "deeds", "drafts", "column_names")
_BEFORE_A_LAYOUT = re.compile(r"before_layout_\d+")
_LONGEST_HEAD = 1_000_000
_LONGEST_LIST = 200_000_000
_CHUNK = 1 << 20
_DEEPEST = 5


class BackupError(HomeError):
    """A file is no backup that can be restored; the message says what is wrong with it."""


@dataclass(frozen=True)
class Backup:
    """What a backup was found to hold, every file held against its hash."""

    path: Path
    head: dict
    hashes: dict[str, str]
    size: int

    @property
    def last_hand_in(self) -> int:
        """The last hand-in that it holds."""
        return int(self.head["last_hand_in"])

    @property
    def records(self) -> dict | None:
        """What was published then, with rows and digests by table; None where nothing was."""
        return self.head.get("records")


def is_kept_folder(name: str) -> bool:
    """Whether a folder right in the home belongs into a backup, with all below it."""
    return name in KEPT_FOLDERS or bool(_BEFORE_A_LAYOUT.fullmatch(name))


def hash_line(name: str, digest: str) -> str:
    """One line of the list of hashes."""
    return f"{digest}  {name}\n"


def read_backup(path: Path, told: Callable[[int], object] = lambda count: None) -> Backup:
    """Read a backup from end to end and hold every file in it against its hash.

    ``told`` takes the bytes of files read, as they are read.

    Raises
    ------
    BackupError
        It is none, is damaged or cut short, holds a file that belongs in no home, or was made from
        a home of a newer layout. The message names what was found and where.
    """
    found: dict[str, str] = {}
    listed: dict[str, str] | None = None
    head: dict | None = None
    size = 0
    for name, content in members(path):
        if listed is not None:
            raise _damaged(path, f"{name} stands behind the list of hashes")
        if head is None:
            head_bytes = _first(path, name, content)
            head, found[name] = _head(path, head_bytes), hashlib.sha256(head_bytes).hexdigest()
        elif name == LAST:
            listed = _listed(path, content)
        else:
            hashing = Hashing(content, told)
            while chunk := hashing.read(_CHUNK):
                size += len(chunk)
            found[name] = hashing.sha256
    if head is None or listed is None:
        raise BackupError(f"{path} ends too early: it is cut short. Nothing was restored from it.")
    _compare(path, found, listed)
    return Backup(path, head, {n: d for n, d in found.items() if n != FIRST}, size)


def members(path: Path) -> Iterator[tuple[str, IO[bytes]]]:
    """The files of a backup one after another; each is to be read before the next is asked for.

    Raises
    ------
    BackupError
        It is no tar file, is cut short, or a name in it leads out of the folder or is no file's.
    """
    seen: set[str] = set()
    try:
        with tarfile.open(path, "r:") as tar:
            for member in tar:
                _refuse_odd(path, member, seen)
                seen.add(member.name)
                content = tar.extractfile(member)
                if content is None:
                    raise _damaged(path, f"{member.name} cannot be read")
                yield member.name, cast("IO[bytes]", _Content(path, member.name, content))
    except (tarfile.TarError, EOFError, UnicodeError) as error:
        raise BackupError(f"{path} is no whole backup of Wear Atlas: {error}.") from error


class _Content:
    """A file in a backup to read from; one that ends too early is named."""

    def __init__(self, path: Path, name: str, content: IO[bytes]) -> None:
        self._path, self._name, self._content = path, name, content

    def read(self, size: int = -1) -> bytes:
        """As a file's."""
        try:
            return self._content.read(size)
        except tarfile.TarError as error:
            raise BackupError(
                f"{self._path} is cut short: it ends within {self._name}. Nothing was restored "
                "from it."
            ) from error


def _refuse_odd(path: Path, member: tarfile.TarInfo, seen: set[str]) -> None:
    name = member.name
    parts = name.split("/")
    if not member.isreg() or member.issparse():
        raise _damaged(path, f"{name!r} is not a plain file")
    if any(part in ("", ".", "..") for part in parts) or _is_strange(name):
        raise _damaged(path, f"{name!r} is a name that leads out of the folder")
    if name in seen:
        raise _damaged(path, f"{name} is there twice")
    in_folder = is_kept_folder(parts[0]) and 1 < len(parts) <= _DEEPEST
    if name not in (FIRST, LAST, *KEPT_FILES) and not in_folder:
        raise _damaged(path, f"{name!r} belongs in no data home")


def _is_strange(name: str) -> bool:
    """Names that a system may take for another place."""
    return not name.isprintable() or (os.name == "nt" and bool(re.search(r'[\\:*?"<>|]', name)))


def _first(path: Path, name: str, content: IO[bytes]) -> bytes:
    if name != FIRST:
        raise BackupError(f"{path} is no backup of Wear Atlas: it begins with {name!r}.")
    return content.read(_LONGEST_HEAD)


def _head(path: Path, content: bytes) -> dict:
    try:
        head = json.loads(content)
        number, layout = int(head["wear_atlas_backup"]), int(head["layout"])
        _ = int(head["last_hand_in"]), str(head["made_at"])
        if head["kind"] not in (OWN, DEMO):
            raise ValueError(f"kind {head['kind']!r}")
    except (ValueError, KeyError, TypeError, RecursionError) as error:
        raise _damaged(path, f"{FIRST} cannot be read ({error})") from error
    if number > FORMAT or layout > LAYOUT:
        raise BackupError(
            f"{path} was made by a newer Wear Atlas (format {number}, layout {layout}; this one "
            f"knows {FORMAT} and {LAYOUT}); use the newer one."
        )
    return head


def _listed(path: Path, content: IO[bytes]) -> dict[str, str]:
    listed = {}
    for number, line in enumerate(
        content.read(_LONGEST_LIST).decode("utf-8", "replace").splitlines(), 1
    ):
        digest, _, name = line.partition("  ")
        if not re.fullmatch(r"[0-9a-f]{64}", digest) or not name:
            raise _damaged(path, f"{LAST}, line {number} cannot be read")
        listed[name] = digest
    return listed


def _compare(path: Path, found: dict[str, str], listed: dict[str, str]) -> None:
    missing = sorted(listed.keys() - found.keys())
    if missing:
        raise _damaged(path, f"{missing[0]} is listed and is not there")
    for name, digest in found.items():
        if name not in listed:
            raise _damaged(path, f"{name} is there and is not listed")
        if digest != listed[name]:
            raise _damaged(path, f"{name} is not as it was when it was backed up")


def _damaged(path: Path, what: str) -> BackupError:
    return BackupError(f"{path} is damaged: {what}. Nothing was restored from it.")


def copied(
    content: IO[bytes], target: Path, told: Callable[[int], object] = lambda count: None
) -> str:
    """Write a file of a backup to the disk for good; its SHA-256."""
    target.parent.mkdir(parents=True, exist_ok=True)
    hashing = Hashing(content, told)
    with target.open("xb") as file:
        while chunk := hashing.read(_CHUNK):
            file.write(chunk)
        file.flush()
        os.fsync(file.fileno())
    return hashing.sha256


class Hashing:
    """A file to read from that hashes what is read; ``told`` takes the bytes read so far."""

    def __init__(self, file: IO[bytes], told: Callable[[int], object] = lambda count: None) -> None:
        self._file, self._told, self._digest = file, told, hashlib.sha256()

    def read(self, size: int = -1) -> bytes:
        """As a file's."""
        chunk = self._file.read(size)
        self._digest.update(chunk)
        self._told(len(chunk))
        return chunk

    @property
    def sha256(self) -> str:
        """Of all that was read."""
        return self._digest.hexdigest()
