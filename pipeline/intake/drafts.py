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


def keep_draft(home: Home, name: str, of: str, values: dict[str, Value]) -> None:
    """Write a draft anew and whole.

    Raises
    ------
    ValueError
        The name is none of :func:`new_draft_name`'s.
    """
    path = _path(home, name, "json")
    path.parent.mkdir(parents=True, exist_ok=True)
    changed_at = datetime.now(UTC).isoformat(timespec="seconds")
    card = {"of": of, "changed_at": changed_at, "values": values}
    write_new(path, json.dumps(card) + "\n")


def draft(home: Home, name: str) -> Draft | None:
    """A draft by its name; None where there is none, or it cannot be read."""
    try:
        card = json.loads(_path(home, name, "json").read_text(encoding="utf-8"))
        changed_at = datetime.fromisoformat(card["changed_at"])
        return Draft(name, str(card["of"]), dict(card["values"]), changed_at)
    except (OSError, ValueError, KeyError, TypeError):
        return None


def drafts(home: Home) -> list[Draft]:
    """All drafts, the last changed first."""
    names = [path.stem for path in home.drafts.glob("*.json")]
    found = [known for known in (draft(home, name) for name in names) if known is not None]
    return sorted(found, key=lambda known: known.changed_at, reverse=True)


def keep_sweep(home: Home, name: str, content: bytes | None) -> None:
    """Keep a sweep beside a draft, or take it away."""
    path = _path(home, name, "sweep")
    if content is None:
        path.unlink(missing_ok=True)
        return
    path.parent.mkdir(parents=True, exist_ok=True)
    half = path.with_suffix(".half")
    half.write_bytes(content)
    half.replace(path)


def kept_sweep(home: Home, name: str) -> bytes | None:
    """The sweep beside a draft, None without one."""
    try:
        return _path(home, name, "sweep").read_bytes()
    except OSError:
        return None


def drop_draft(home: Home, name: str) -> None:
    """Take a draft away, once it is saved or discarded."""
    for suffix in ("json", "sweep"):
        _path(home, name, suffix).unlink(missing_ok=True)


def _path(home: Home, name: str, suffix: str) -> Path:
    if not _NAME.fullmatch(name):
        raise ValueError(f"{name!r} names no draft")
    return home.drafts / f"{name}.{suffix}"
