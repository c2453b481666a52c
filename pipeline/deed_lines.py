"""One line of the record of deeds, and what chains it to the line before.

A line is a JSON object that ends with ``before``: the SHA-256 of the line before it, byte by byte.
Whoever changes, drops or slips in a line breaks the chain there, unless all that follows is written
anew; so the record shows accidents and quiet corrections, and it is a copy kept elsewhere (a
backup) that shows the rest.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime

FIRST = ""


@dataclass(frozen=True)
class Standing:
    """Up to where the record goes, as its last line says.

    ``hand_in`` and ``version`` are the last ones told of, ``settings`` and ``column_names`` the
    digests of both files when they were last told of.
    """

    number: int = 0
    hand_in: int = 0
    version: int = 0
    settings: str = ""
    column_names: str = ""


def line_of(deed: Mapping[str, object], stands: Standing, before: bytes | None) -> bytes:
    """A deed as a line, without its line end; ``before`` is the line before it, if any."""
    told = dict(deed) | {"stands": vars(stands)}
    told["before"] = FIRST if before is None else hashlib.sha256(before).hexdigest()
    return json.dumps(told, ensure_ascii=True, separators=(",", ":"), default=str).encode("ascii")


def deed_of(line: bytes) -> dict | None:
    """What a line says; None for one that is damaged or was cut short."""
    try:
        deed = json.loads(line)
        datetime.fromisoformat(deed["at"])
        _ = str(deed["who"]), str(deed["deed"]), str(deed["before"])
        standing_of(deed)
    except (ValueError, KeyError, TypeError, RecursionError):
        return None
    return deed


def standing_of(deed: Mapping) -> Standing:
    """Up to where the record went with a deed.

    Raises
    ------
    KeyError, TypeError, ValueError
        The deed does not say so.
    """
    told = deed["stands"]
    return Standing(
        int(told["number"]),
        int(told["hand_in"]),
        int(told["version"]),
        str(told["settings"]),
        str(told["column_names"]),
    )


def follows(deed: Mapping, before: bytes | None) -> bool:
    """Whether a line was written behind the one given."""
    wanted = FIRST if before is None else hashlib.sha256(before).hexdigest()
    return deed["before"] == wanted
