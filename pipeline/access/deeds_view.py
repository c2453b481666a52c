"""Who did what, from the record of deeds: all of it for who sees all, else what they did alone."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

import pandas as pd

from models.frames import Column, FrameSchema
from pipeline.access.scope.allowed import view
from pipeline.asker import Asker
from pipeline.deed_lines import deed_of, standing_of
from pipeline.home import Home
from pipeline.intake.deeds import lines_of, record_files

DEEDS = FrameSchema(
    "deeds",
    "one deed, the latest first",
    (
        Column("number", "whole", "its place in the record, from 1"),
        Column("done_at", "moment", "when"),
        Column("who", "text", "who did it; blank where that is not known", blank=True),
        Column("role", "text", "technician, owner or operator; blank likewise", blank=True),
        Column("deed", "text", "handed_in, corrected, retracted, answered, settings_changed, ..."),
        Column("hand_in", "whole", "the hand-in it made, or that it goes up to", blank=True),
        Column("version", "whole", "the version that it published", blank=True),
        Column("said", "text", "files, rows, settings or answers it was about", blank=True),
    ),
)
#: What a line says in a single value, with the words before it.
_SINGLE = {"table": "columns of ", "as_of": "as of ", "file": ""}


@view
def deeds_view(home: Home, asker: Asker, most: int | None = None) -> pd.DataFrame:
    """DEEDS of the whole home for who sees all of it, else the asker's own; ``most`` the latest."""
    found: list[dict] = []
    for deed in _latest_first(home):
        if asker.sees_all or deed["who"] == asker.name:
            found.append(_row(deed))
        if most is not None and len(found) >= most:
            break
    return DEEDS.check(pd.DataFrame(found, columns=DEEDS.names)) if found else DEEDS.empty()


def _latest_first(home: Home) -> Iterator[Mapping]:
    """Deeds that can be read, from the last file on, so that the latest need no other file."""
    for path in reversed(record_files(home)):
        for line in reversed(lines_of(path)):
            deed = deed_of(line)
            if deed is not None:
                yield deed


def _row(deed: Mapping) -> dict[str, object]:
    """One row; what a line says beyond who, what and when is taken as far as it can be read."""
    said = deed["said"] if isinstance(deed.get("said"), dict) else {}
    return {
        "number": standing_of(deed).number,
        "done_at": pd.to_datetime(deed["at"], utc=True),
        "who": str(deed["who"]) or None,
        "role": str(deed.get("role") or "") or None,
        "deed": str(deed["deed"]),
        "hand_in": _whole(said.get("hand_in")),
        "version": _whole(said.get("version")),
        "said": _in_words(said) or None,
    }


def _whole(value: object) -> int | None:
    return value if isinstance(value, int) and not isinstance(value, bool) else None


def _in_words(said: Mapping) -> str:
    """What a deed was about, in names and numbers."""
    parts = [_pairs(said.get("answers")) or _pairs(said.get("rows")) or _files(said)]
    settings = said.get("settings")
    for name, values in settings.items() if isinstance(settings, dict) else ():
        if isinstance(values, list) and len(values) == 2:
            parts.append(f"{name} {values[0]} → {values[1]}")
    parts += [f"{words}{said[name]}" for name, words in _SINGLE.items() if name in said]
    parts.append(str(said.get("how", "")))
    return "; ".join(part for part in parts if part)


def _pairs(counts: object) -> str:
    if not isinstance(counts, dict):
        return ""
    return ", ".join(f"{name} {count}" for name, count in counts.items())


def _files(said: Mapping) -> str:
    names = said.get("files")
    if not isinstance(names, list):
        return ""
    more = (_whole(said.get("file_count")) or 0) - len(names)
    return ", ".join(map(str, names)) + (f" and {more} more" if more > 0 else "")
