"""Where files of samples are stored: in the data home, or on any path that fsspec knows.

Places are paths below the store's root, written with slashes. On a disk a file is written under
another name and renamed. An object store has no renaming: there an object appears whole or not at
all once its upload is finished, and moving one is a copy and then a removal, so that a kill leaves
it in both places at the worst. Credentials come from the environment alone; they are never part of
an address, a file or a message.
"""

from __future__ import annotations

import hashlib
import json
import os
import socket
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from functools import cache
from pathlib import Path, PurePosixPath
from typing import Any, Protocol
from urllib.parse import urlsplit

from fsspec.core import url_to_fs
from fsspec.implementations.arrow import ArrowFSWrapper
from fsspec.registry import known_implementations
from pyarrow.fs import S3FileSystem

from pipeline.home import Home, HomeError, write_new
from pipeline.intake.seals import digest_of

_CHUNK = 1 << 20
#: Stores whose single write is whole or not at all.
_OF_OBJECTS = ("gs", "gcs", "abfs", "abfss", "az", "oss", "memory")
#: Read and written by Arrow itself, so that no further package is needed.
_BY_ARROW = ("s3", "s3a")


class Storage(Protocol):
    """What is asked of a store; a place that is not there raises FileNotFoundError."""

    def source(self, place: str) -> Any:
        """What pyarrow reads a file from."""

    def size(self, place: str) -> int | None:
        """Bytes of a file, None where there is none."""

    def digest(self, place: str) -> str:
        """SHA-256 of a file; empty where it cannot be read."""

    def put(self, draft: Path, place: str) -> None:
        """Take a finished local file in; it is there whole or not at all, the draft no more."""

    def move(self, place: str, to: str) -> None:
        """Give a file another place, over whatever is there."""

    def remove(self, place: str) -> None:
        """Take a file away; none is fine."""

    def files(self, folder: str) -> list[str]:
        """Places of all Parquet files below a folder."""


@dataclass(frozen=True)
class OnDisk:
    """Folders in the data home."""

    root: Path

    def source(self, place: str) -> Path:
        """See :class:`Storage`."""
        path = self.root / place
        if not path.exists():
            raise FileNotFoundError(place)
        return path

    def size(self, place: str) -> int | None:
        """See :class:`Storage`."""
        with suppress(FileNotFoundError):
            return (self.root / place).stat().st_size
        return None

    def digest(self, place: str) -> str:
        """See :class:`Storage`."""
        return digest_of(self.source(place))

    def put(self, draft: Path, place: str) -> None:
        """See :class:`Storage`."""
        (self.root / place).parent.mkdir(parents=True, exist_ok=True)
        draft.replace(self.root / place)

    def move(self, place: str, to: str) -> None:
        """See :class:`Storage`."""
        with suppress(PermissionError):  # held open where the system minds: another time
            (self.root / to).parent.mkdir(parents=True, exist_ok=True)
            (self.root / place).replace(self.root / to)
            self._remove_empty(place)

    def remove(self, place: str) -> None:
        """See :class:`Storage`."""
        with suppress(PermissionError):
            (self.root / place).unlink(missing_ok=True)
            self._remove_empty(place)

    def files(self, folder: str) -> list[str]:
        """See :class:`Storage`."""
        found = (self.root / folder).rglob("*.parquet")
        return sorted(path.relative_to(self.root).as_posix() for path in found)

    def _remove_empty(self, place: str) -> None:
        """Folders of a month and a shop without a file, as the last one went."""
        for folder in list(PurePosixPath(place).parents)[:-2]:
            with suppress(OSError):
                (self.root / folder).rmdir()


@dataclass(frozen=True)
class Shared:
    """A path of any file system that fsspec knows."""

    url: str

    def source(self, place: str) -> Any:
        """See :class:`Storage`."""
        with self._asked() as (system, root):
            return system.open(f"{root}/{place}", "rb")

    def size(self, place: str) -> int | None:
        """See :class:`Storage`."""
        with self._asked() as (system, root), suppress(FileNotFoundError):
            return int(system.info(f"{root}/{place}")["size"])
        return None

    def digest(self, place: str) -> str:
        """See :class:`Storage`."""
        found = hashlib.sha256()
        with self.source(place) as file:
            while chunk := file.read(_CHUNK):
                found.update(chunk)
        return found.hexdigest()

    def put(self, draft: Path, place: str) -> None:
        """See :class:`Storage`."""
        with self._asked() as (system, root):
            final = f"{root}/{place}"
            if _is_of_objects(system):
                system.put_file(str(draft), final)
            else:
                system.makedirs(final.rpartition("/")[0], exist_ok=True)
                system.put_file(str(draft), f"{final}.draft")
                system.mv(f"{final}.draft", final)
        draft.unlink()

    def move(self, place: str, to: str) -> None:
        """See :class:`Storage`."""
        with self._asked() as (system, root):
            if not _is_of_objects(system):
                system.makedirs(f"{root}/{to}".rpartition("/")[0], exist_ok=True)
            system.mv(f"{root}/{place}", f"{root}/{to}")

    def remove(self, place: str) -> None:
        """See :class:`Storage`."""
        with self._asked() as (system, root), suppress(FileNotFoundError):
            system.rm_file(f"{root}/{place}")

    def files(self, folder: str) -> list[str]:
        """See :class:`Storage`."""
        with self._asked() as (system, root):
            found = system.find(f"{root}/{folder}")
        below = (name[name.index(f"{root}/") + len(root) + 1 :] for name in found)
        return sorted(name for name in below if name.endswith(".parquet"))

    @contextmanager
    def _asked(self) -> Iterator[tuple[Any, str]]:
        """The file system and the root on it; what goes wrong is told without what it was told."""
        try:
            yield _opened(self.url)
        except FileNotFoundError:
            raise
        except (OSError, ImportError, ValueError) as error:
            raise StorageError(
                f"The storage of samples {self.url} cannot be used ({type(error).__name__}). Is it "
                "reachable, and are its credentials in the environment?"
            ) from error


class StorageError(HomeError):
    """The storage of samples cannot be used; the message says which, and never a credential."""


def storage_of(home: Home) -> Storage:
    """Where the samples of a home are stored.

    Raises
    ------
    StorageError
        It cannot be read where, or the home is a copy of the one whose samples lie there.
    """
    url, whose = said_of(home)
    if url and whose != _self(home):
        raise StorageError(
            f"{home.root} was moved or is a copy, and the samples at {url} may be another home's. "
            "Say where its own are stored: python3 -m pipeline store-sweeps, with that address "
            "only where no other home uses it."
        )
    return Shared(url) if url else OnDisk(home.root)


def said_of(home: Home) -> tuple[str, str]:
    """The address of the storage that a home shares and whose it is; empty where there is none."""
    try:
        known = json.loads(_said_path(home).read_text(encoding="utf-8"))
        return str(known["url"]), str(known["home"])
    except FileNotFoundError:
        return "", ""
    except (OSError, ValueError, KeyError, TypeError) as error:
        raise StorageError(
            f"{_said_path(home)} is damaged. Say again where samples are stored: "
            "python3 -m pipeline store-sweeps"
        ) from error


def store_at(home: Home, url: str) -> None:
    """Have samples stored at an address from now on, or in the home itself where it is empty."""
    if url:
        write_new(_said_path(home), json.dumps({"url": url, "home": _self(home)}) + "\n")
    else:
        _said_path(home).unlink(missing_ok=True)


def _self(home: Home) -> str:
    return f"{socket.gethostname()}:{home.root.resolve()}"


def _said_path(home: Home) -> Path:
    # not in a backup: a home restored beside the first one must not write over its samples
    return home.root / "sweeps_at.json"


def refuse_odd(url: str) -> None:
    """Raise StorageError for an address that fsspec would not know, or that holds a credential."""
    parts = urlsplit(url)
    if parts.username or parts.password or parts.query or parts.fragment:
        raise StorageError(
            "The address of a storage holds no credentials and no options: they come from the "
            "environment. Expected one like s3://bucket/folder."
        )
    if not parts.scheme or parts.scheme not in (*_BY_ARROW, *known_implementations):
        raise StorageError(
            f"{url} is no address of a storage: expected one like s3://bucket/folder or "
            "file:///mnt/share/folder."
        )


@cache
def _opened(url: str) -> tuple[Any, str]:
    """The file system of an address, and its root there."""
    parts = urlsplit(url)
    if parts.scheme in _BY_ARROW:
        asked = (os.environ.get(name) for name in ("AWS_ENDPOINT_URL_S3", "AWS_ENDPOINT_URL"))
        system = S3FileSystem(endpoint_override=next(filter(None, asked), None))
        return ArrowFSWrapper(system), f"{parts.netloc}{parts.path}".rstrip("/")
    system, root = url_to_fs(url)
    return system, root.rstrip("/")


def _is_of_objects(system: Any) -> bool:
    named = system.protocol if isinstance(system.protocol, (tuple, list)) else (system.protocol,)
    return isinstance(system, ArrowFSWrapper) or bool({*named} & {*_OF_OBJECTS})
