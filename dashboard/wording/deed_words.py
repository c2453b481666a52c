"""The record of deeds in plain words."""

from __future__ import annotations

from collections.abc import Mapping

from dashboard.wording.hand_in_words import TABLE_NAMES
from dashboard.words import known

_DEEDS = {
    "handed_in": "Handed in",
    "corrected": "Corrected rows set aside",
    "retracted": "Took rows back",
    "answered": "Answered advice",
    "settings_changed": "Changed settings",
    "columns_named": "Said what columns stand for",
    "advised": "Advised anew",
    "backed_up": "Backed up",
    "restored": "Restored from a backup",
    "build_stopped": "Stopped a build",
}
_ANSWERS = {"accept": "Accepted", "put_off": "Put off", "overrule": "Overruled"}


def deed_words(row: Mapping) -> str:
    """What was done, with the hand-in or version it made."""
    what = _DEEDS.get(str(row["deed"]), str(row["deed"]))
    if row["deed"] == "advised" and known(row["version"]):
        return f"{what}: version {int(row['version']):,}"
    if row["deed"] in ("handed_in", "corrected", "retracted", "answered") and known(row["hand_in"]):
        return f"{what}: hand-in {int(row['hand_in']):,}"
    return what


def who_words(row: Mapping) -> str:
    """Who did it, with the part they have; said where it is not known."""
    if not known(row["who"]):
        return "not known"
    return f"{row['who']} ({row['role']})" if known(row["role"]) else str(row["who"])


def about_words(row: Mapping) -> str:
    """What it was about: rows and answers by their names on the pages."""
    if not known(row["said"]):
        return ""
    return ", ".join(_part(part) for part in str(row["said"]).split(", "))


def _part(part: str) -> str:
    """One of several parts; where it counts rows or answers, they go by their names here."""
    name, _, count = part.rpartition(" ")
    known_as = _ANSWERS.get(name) or TABLE_NAMES.get(name)
    return f"{known_as}: {count}" if known_as else part
