"""Forms begun on screen and not saved yet: kept on the disk, so that nothing typed is lost.

A draft is a mapping of plain values under a name of its own, and a sweep beside it where one was
dropped in. It is no record: nothing reads it but the form it belongs to.
"""

from __future__ import annotations

import json
import re
import secrets
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from pipeline.asker import Asker, whoever_is_here
from pipeline.home import Home, write_new

_NAME = re.compile(r"[0-9a-f]{16}")
Value = str | int | float | bool | list | None


@dataclass(frozen=True)
class Draft:
    """One form begun: its name, what it is of, its values, and when it was last changed."""

    name: str
    of: str
    values: dict[str, Value]
    changed_at: datetime


def new_draft_name() -> str:
    """A name that nobody guesses: whoever has it can go on with the form."""
    return secrets.token_hex(8)


def keep_draft(home: Home, asker: Asker, name: str, of: str, values: dict[str, Value]) -> None:
    """Write a draft anew and whole.

    Raises
    ------
    ValueError
        The name is none of :func:`new_draft_name`'s, or another's draft has it.
    """
    path = _path(home, name, "json")
    if path.exists() and draft(home, asker, name) is None:
        raise ValueError(f"{name!r} is a draft of somebody else's")
    path.parent.mkdir(parents=True, exist_ok=True)
    changed_at = datetime.now(UTC).isoformat(timespec="seconds")
    card = {"of": of, "by": asker.name, "changed_at": changed_at, "values": values}
    write_new(path, json.dumps(card) + "\n")


def draft(home: Home, asker: Asker, name: str) -> Draft | None:
    """A draft by its name; None where there is none of the asker's, or it cannot be read."""
    try:
        card = json.loads(_path(home, name, "json").read_text(encoding="utf-8"))
        if not _is_theirs(asker, card.get("by", whoever_is_here().name)):
            return None
        changed_at = datetime.fromisoformat(card["changed_at"]).astimezone(UTC)
        return Draft(name, str(card["of"]), dict(card["values"]), changed_at)
    except (OSError, ValueError, KeyError, TypeError, AttributeError):
        return None


def drafts(home: Home, asker: Asker) -> list[Draft]:
    """All drafts of the asker's, the last changed first."""
    names = [path.stem for path in home.drafts.glob("*.json")]
    found = [known for known in (draft(home, asker, name) for name in names) if known is not None]
    return sorted(found, key=lambda known: known.changed_at, reverse=True)


def keep_sweep(home: Home, asker: Asker, name: str, content: bytes | None) -> None:
    """Keep a sweep beside a draft, or take it away; another's is left as it is."""
    _refuse_others(home, asker, name)
    path = _path(home, name, "sweep")
    if content is None:
        path.unlink(missing_ok=True)
        return
    path.parent.mkdir(parents=True, exist_ok=True)
    half = path.with_suffix(".half")
    half.write_bytes(content)
    half.replace(path)


def kept_sweep(home: Home, asker: Asker, name: str) -> bytes | None:
    """The sweep beside a draft, None without one of the asker's."""
    try:
        _refuse_others(home, asker, name)
        return _path(home, name, "sweep").read_bytes()
    except OSError:
        return None


def drop_draft(home: Home, asker: Asker, name: str) -> None:
    """Take a draft away, once it is saved or discarded."""
    _refuse_others(home, asker, name)
    for suffix in ("json", "sweep"):
        _path(home, name, suffix).unlink(missing_ok=True)


def _is_theirs(asker: Asker, maker: object) -> bool:
    """Whoever is at this machine sees every draft, anyone else their own."""
    return asker == whoever_is_here() or maker == asker.name


def _refuse_others(home: Home, asker: Asker, name: str) -> None:
    """Refuse what stands beside a draft of somebody else's.

    Raises
    ------
    PermissionError
        The draft is there, and not the asker's.
    """
    if _path(home, name, "json").exists() and draft(home, asker, name) is None:
        raise PermissionError(f"{name!r} is a draft of somebody else's")


def _path(home: Home, name: str, suffix: str) -> Path:
    if not _NAME.fullmatch(name):
        raise ValueError(f"{name!r} names no draft")
    return home.drafts / f"{name}.{suffix}"
