"""The cards of hand-ins: what each says of itself, and which there are."""

from __future__ import annotations

import json
from datetime import datetime
from pathlib import Path

from pipeline.home import Home, HomeError

CARD = "hand_in.json"
#: What a hand-in amounts to, for the record of deeds.
HANDED_IN, CORRECTED, RETRACTED, ANSWERED = "handed_in", "corrected", "retracted", "answered"


def last_hand_in(home: Home) -> int:
    """Number of the last hand-in, 0 where there is none."""
    return max((int(folder.name) for folder in hand_in_folders(home)), default=0)


def card_of(folder: Path) -> dict:
    """What a hand-in says of itself: a whole card of the kind that :func:`receive` writes."""
    try:
        card = json.loads((folder / CARD).read_text(encoding="utf-8"))
        datetime.fromisoformat(card["handed_in_at"])
        for file in card["files"]:
            _ = int(file["file_no"]), file["name"], file["stored"], file["trouble"]
            dict(file.get("columns", {}))
    except (OSError, ValueError, KeyError, TypeError) as error:
        raise HomeError(
            f"{folder / CARD} is damaged ({error}); put it back from a copy."
        ) from error
    return card


def hand_in_folders(home: Home) -> list[Path]:
    """The folders of all hand-ins, in no order."""
    if not home.handed_in.exists():
        return []
    return [folder for folder in home.handed_in.iterdir() if folder.name.isdigit()]
