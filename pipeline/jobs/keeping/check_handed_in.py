"""Hold the files handed in against their cards: all there, and byte for byte as they came."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from datetime import datetime
from itertools import pairwise
from pathlib import Path

from pipeline.home import Home, HomeError
from pipeline.intake.deeds_check import broken_links
from pipeline.intake.hand_in_cards import CARD, card_of, hand_in_folders
from pipeline.intake.seals import digest_of, size_of
from pipeline.jobs.keeping.findings import COPY, REMARK, Finding
from pipeline.jobs.progress import BYTES, LongWork

_RECORD = "Hold the record of deeds against the copy you kept; no sensor is judged by it."


def handed_in_findings(home: Home, work: LongWork | None = None) -> list[Finding]:
    """What is wrong with hand-ins, in their order."""
    folders = sorted(hand_in_folders(home), key=lambda folder: int(folder.name))
    size = sum(size_of(path) for folder in folders for path in folder.iterdir())
    with (work or LongWork()).counted("Looking through what was handed in", BYTES, size) as step:
        found = [finding for folder in folders for finding in _of_hand_in(folder, step)]
    return [*_gaps(folders), *found, *_clock_set_back(folders)]


def deed_findings(home: Home) -> list[Finding]:
    """Where the record of deeds is not as it was written, and hand-ins that only it knows of."""
    told = (sentence.partition(": ") for sentence in broken_links(home))
    return [
        Finding(where, what.rstrip("."), COPY, "" if where.startswith("handed_in/") else _RECORD)
        for where, _, what in told
    ]


def _gaps(folders: list[Path]) -> Iterator[Finding]:
    """Hand-ins are numbered without a gap."""
    there = {int(folder.name) for folder in folders}
    for number in range(1, max(there, default=0)):
        if number not in there:
            yield Finding(f"handed_in/{number:06d}", "the whole hand-in is gone", COPY)


def _of_hand_in(folder: Path, told: Callable[[int], object]) -> Iterator[Finding]:
    where = f"handed_in/{folder.name}"
    try:
        card = card_of(folder)
    except HomeError:
        yield Finding(f"{where}/{CARD}", "the card of the hand-in is gone or damaged", COPY)
        return
    for file in [*card["files"], *card.get("workbooks", ())]:
        if not file.get("sha256"):
            continue  # it could not be read when it came
        path = folder / str(file["stored"])
        named = f"{where}/{path.name}"
        if not path.exists():
            yield Finding(named, f"the file {file['name']} is gone", COPY)
        elif digest_of(path, told) != file["sha256"]:
            yield Finding(named, f"the file {file['name']} is no longer as it came", COPY)


def _clock_set_back(folders: list[Path]) -> Iterator[Finding]:
    for before, after in pairwise(folders):
        first, second = _came_at(before), _came_at(after)
        if first and second and second < first:
            yield Finding(
                f"handed_in/{after.name}",
                f"by its card it came before hand-in {int(before.name)}: the clock was set back",
                REMARK,
                "Later means later by number all the same; rows dated later are set aside.",
            )


def _came_at(folder: Path) -> datetime | None:
    try:
        return datetime.fromisoformat(card_of(folder)["handed_in_at"])
    except HomeError:
        return None
