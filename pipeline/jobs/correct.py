"""Hand set-aside rows in again as corrected on screen, or take them off the list."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from pipeline.access.entered.standing import standing_rows
from pipeline.access.set_aside_rows import SetAsideRow
from pipeline.asker import Asker, whoever_is_here
from pipeline.home import Home
from pipeline.intake.contract import TABLES
from pipeline.intake.hand_in_cards import CORRECTED
from pipeline.intake.typed.entries import Trouble, entry_troubles, save_entry

TAKEN_OFF = "taken off the list of what was set aside"


@dataclass(frozen=True)
class Correction:
    """A set-aside row and what it is to be: cells by column, or None to take it off the list."""

    row: SetAsideRow
    cells: Mapping[str, str] | None


@dataclass(frozen=True)
class Corrected:
    """How many were saved, and what still stands against the others (by place among them all)."""

    saved: int
    troubles: dict[int, list[Trouble]]


def correct(
    home: Home, corrections: Sequence[Correction], *, asker: Asker | None = None
) -> Corrected:
    """Save every correction that can stand as one hand-in; the others are not saved.

    A row taken off the list, or given another key, leaves what stands under its old key as it is.

    Raises
    ------
    NotThereError
        Nothing is published in this home.
    HomeError
        The home cannot be written.
    """
    who = asker or whoever_is_here()
    troubles = _troubles(corrections)
    good = [one for place, one in enumerate(corrections) if place not in troubles]
    rows: dict[str, list[Mapping[str, object]]] = {}
    keys = {(one.row.table, _key(one)) for one in good if one.cells is not None}
    for one in good:
        if one.cells is not None:
            rows.setdefault(one.row.table, []).append(one.cells)
    for one in good:
        for table, record in _settling(home, who, one, keys):
            if record not in rows.setdefault(table, []):
                rows[table].append(record)
    if good:
        save_entry(home, rows, asker=who, deed=CORRECTED)
    return Corrected(len(good), troubles)


def _troubles(corrections: Sequence[Correction]) -> dict[int, list[Trouble]]:
    found: dict[int, list[Trouble]] = {}
    for table in {one.row.table for one in corrections}:
        places = [
            place
            for place, one in enumerate(corrections)
            if one.row.table == table and one.cells is not None
        ]
        rows = [_on_one_line(corrections[place].cells or {}) for place in places]
        for trouble in entry_troubles({table: rows}) if rows else ():
            found.setdefault(places[trouble.line - 1], []).append(trouble)
        keys = Counter(_key(corrections[place]) for place in places)
        for line, place in enumerate(places, 1):
            key = _key(corrections[place])
            if keys[key] > 1 and place not in found:
                reason = "the same key stands in more than one row here; expected one"
                column = TABLES[table].key[0]
                found[place] = [Trouble(table, line, column, key, reason)]
    return found


def _on_one_line(cells: Mapping[str, str]) -> dict[str, str]:
    """Cells without line breaks, so that the lines of the check count rows."""
    return {name: " ".join(str(value or "").splitlines()) for name, value in cells.items()}


def _key(one: Correction) -> str:
    cells = one.cells or {}
    return "/".join(str(cells.get(name) or "").strip() for name in TABLES[one.row.table].key)


def _settling(
    home: Home, asker: Asker, one: Correction, keys: set[tuple[str, str]]
) -> list[tuple[str, dict[str, str]]]:
    """What takes the old row off the list, where no row of the same key does so by itself.

    A row without a key is withdrawn by its place. One whose key has a row in force is settled by
    that row handed in again unchanged; a withdrawal would take the row in force along.
    """
    row = one.row
    if row.key is None:
        return [("retract", {"table": row.table, "key": row.place, "reason": TAKEN_OFF})]
    if (row.table, row.key) in keys:
        return []
    standing = standing_rows(home, asker, row.table, [row.key])
    if row.key in standing:
        return [(row.table, standing[row.key])]
    return [("retract", {"table": row.table, "key": row.key, "reason": TAKEN_OFF})]
