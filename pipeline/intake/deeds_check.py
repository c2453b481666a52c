"""Read the record of deeds, and say where it was changed, cut or has a gap."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping

from pipeline.deed_lines import deed_of, follows, standing_of
from pipeline.home import Home
from pipeline.intake.deeds import lines_of, record_files
from pipeline.intake.hand_in_cards import CARD


def read_deeds(home: Home) -> list[dict]:
    """Every deed that can be read, in the order of the record."""
    found = (deed_of(line) for path in record_files(home) for line in lines_of(path))
    return [deed for deed in found if deed is not None]


def broken_links(home: Home) -> list[str]:
    """Sentences on every place where the record is not as it was written; none where it is whole.

    A line cut short by a kill or a power failure is no fault: it is the last one, or the line
    behind it says so. Cards of hand-ins are held against what the record told when they came.
    Lines taken off the very end leave no trace in the record itself.
    """
    found: list[str] = []
    before, number, cut_at = None, 0, ""
    cards: dict[int, str] = {}
    for path in record_files(home):
        for place, line in enumerate(lines_of(path), 1):
            where, deed = f"deeds/{path.name}, line {place}", deed_of(line)
            if cut_at and not (deed and deed.get("after_cut")):
                found.append(f"{cut_at}: the line cannot be read.")
            cut_at = "" if deed else where
            if deed is not None:
                found += _out_of_line(where, deed, before, number)
                number = standing_of(deed).number
                _remember_card(deed, cards)
            before = line
    return found + _other_cards(home, cards)


def _out_of_line(where: str, deed: Mapping, before: bytes | None, number: int) -> list[str]:
    told = standing_of(deed).number
    found = []
    if told != number + 1:
        found.append(f"{where}: deed {told} stands behind deed {number}, expected {number + 1}.")
    if not follows(deed, before):
        found.append(f"{where}: the line before it is not the one it was written behind.")
    return found


def _remember_card(deed: Mapping, cards: dict[int, str]) -> None:
    said = deed.get("said")
    if isinstance(said, dict) and "card" in said and str(said.get("hand_in", "")).isdigit():
        cards[int(said["hand_in"])] = str(said["card"])


def _other_cards(home: Home, cards: Mapping[int, str]) -> list[str]:
    found = []
    for number, card in sorted(cards.items()):
        path = home.handed_in / f"{number:06d}" / CARD
        where = f"handed_in/{path.parent.name}/{CARD}"
        if not path.exists():
            found.append(f"{where}: hand-in {number} is on the record of deeds and is gone.")
        elif hashlib.sha256(path.read_bytes()).hexdigest() != card:
            found.append(f"{where}: the card is not as it was when hand-in {number} came.")
    return found
