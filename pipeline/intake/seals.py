"""Seals of files made from what was handed in: from what they were made, and what they hash to.

A seal is a small JSON file beside them, written last: it says that all of them are there and
whole. A disk that gives back other bytes than it was given, a file cut short or swapped for
another's, all break the seal; whoever finds it broken makes the files anew.
"""

from __future__ import annotations

import hashlib
import json
import os
from collections.abc import Callable, Iterable
from pathlib import Path

from pipeline.home import write_new

_CHUNK = 1 << 20


def digest_of(path: Path, told: Callable[[int], object] = lambda count: None) -> str:
    """SHA-256 of a file; empty where it cannot be read. ``told`` takes the bytes read so far."""
    digest = hashlib.sha256()
    try:
        with path.open("rb", buffering=0) as file:
            while chunk := file.read(_CHUNK):
                digest.update(chunk)
                told(len(chunk))
    except OSError:
        return ""
    return digest.hexdigest()


def size_of(path: Path) -> int:
    """Bytes of a file, to tell how far one is in reading it; none where it cannot be read."""
    try:
        return path.stat().st_size
    except OSError:
        return 0


def seal(path: Path, files: Iterable[Path], source: str = "") -> None:
    """Seal files as they are now; those that are not there are passed over.

    ``source`` is the hash of what they were made from.
    """
    digests = {_name(path, file): digest_of(file) for file in files if file.exists()}
    write_new(path, json.dumps({"source": source, "files": digests}) + "\n")


def broken(path: Path, source: str = "", *, may_be_gone: Path | None = None) -> str:
    """What is wrong with sealed files, as a sentence without a full stop; empty where all is well.

    ``source`` is the hash of what they ought to be made from, ``may_be_gone`` the one file that may
    have been taken away since.
    """
    try:
        card = json.loads(path.read_text(encoding="utf-8"))
        made_from, digests = str(card["source"]), dict(card["files"])
    except FileNotFoundError:
        return "has no seal that says it is whole"
    except (OSError, ValueError, KeyError, TypeError):
        return f"cannot be read: {path.name} is damaged"
    if made_from != source:
        return "was made from another file"
    for name, digest in digests.items():
        file = path.parent / name
        if not file.exists():
            if may_be_gone is not None and _name(path, may_be_gone) == name:
                continue
            return f"is not whole: {file.name} is gone"
        if digest_of(file) != digest:
            return f"is not as it was written: {file.name} is damaged"
    return ""


def sealed_digest(path: Path, file: Path) -> str:
    """What a sealed file hashes to, as a seal known to be whole says; empty where it seals none."""
    return json.loads(path.read_text(encoding="utf-8"))["files"].get(_name(path, file), "")


def _name(path: Path, file: Path) -> str:
    """A file as seen from its seal's folder, written the same on every system."""
    return Path(os.path.relpath(file, path.parent)).as_posix()
