"""How far an asker reaches: what they may hand in, and what typed since the build is theirs.

One rule for both. A row is within reach where every bike, sensor, test, repair, shop and fleet that
it names is the asker's, and its own key is theirs or nobody's yet. What is not known at all is not
theirs either: a row that waited for another shop's record would come in with it one day.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import NamedTuple, TypeVar

import duckdb

from pipeline.access.scope.allowed import may_enter
from pipeline.asker import OPERATOR, Asker
from pipeline.intake.contract import TABLES
from pipeline.statements import run

_SCOPE = "access/sql/scope"
#: Columns that name a record of a table; each that is not blank must be the asker's.
_NAMES = {
    "unit_id": "units",
    "sensor_id": "sensors",
    "session_id": "test_sessions",
    "comeback_of": "repair_outcomes",
    "shop_id": "shops",
}
#: Tables whose key is a record of its own, which may be new.
_OWN_KEY = {
    "shops": "shop_id",
    "units": "unit_id",
    "sensors": "sensor_id",
    "test_sessions": "session_id",
    "repair_outcomes": "outcome_id",
}
#: The same for all shops: what is there is changed only by who sees all.
_COMMON = ("parts", "fitments")
_ORDER = {name: place for place, name in enumerate(TABLES)}
_RETIRED = "out_of_service_on"


AnyRow = TypeVar("AnyRow", bound=tuple)


class Row(NamedTuple):
    """One row on its way in."""

    table: str
    key: str | None
    cells: Mapping[str, str]


class Beyond(NamedTuple):
    """The cell of a row that reaches too far, and why it may not."""

    column: str
    value: str
    reason: str


class Reach:
    """What is the asker's among all that some rows name; grows by each row let in."""

    def __init__(
        self, connection: duckdb.DuckDBPyConnection, asker: Asker, rows: Iterable[Row]
    ) -> None:
        keys = {"keys": sorted(set(_mentioned(rows)))}
        self._asker = asker
        self._own = set(run(connection, f"{_SCOPE}/own_keys", keys).fetchall())
        self._taken = set(run(connection, f"{_SCOPE}/taken_keys", keys).fetchall())
        places = run(connection, f"{_SCOPE}/own_places", keys).fetchall()
        self._places = {place for (place,) in places}
        standing = run(connection, f"{_SCOPE}/standing_parts", keys).fetchall()
        self._standing = {(table, key): cells for table, key, cells in standing}
        whose = "fleet's" if asker.role == OPERATOR else "shop's"
        self._not_yours = f"is not among your {whose} records"

    def let_in(self, row: Row) -> Beyond | None:
        """Take a row as handed in: None where it is within reach, else what is not."""
        beyond = self._beyond(row)
        if row.key is not None:
            self._note(row, own=beyond is None)
        return beyond

    def owns(self, table: str, key: str) -> bool:
        """Whether a record is the asker's, by all that was let in so far."""
        return (table, key) in self._own

    def sees(self, row: Row) -> bool:
        """Whether a row handed in since the build, by whomever, is the asker's to see."""
        beyond = self._beyond(row, by_role=False)
        if row.key is not None:
            self._note(row, own=beyond is None)
        return beyond is None

    def _beyond(self, row: Row, *, by_role: bool = True) -> Beyond | None:
        if by_role and not may_enter(self._asker, row.table):
            return Beyond("", "", "is not for your part in the shop to enter")
        if row.key is None:
            return Beyond("", "", f"has no key that can be read, so {self._not_yours}")
        if row.table == "retract":
            return self._beyond_retract(row.cells)
        if row.table in _COMMON:
            return self._beyond_common(row) if by_role else None
        return self._beyond_names(row) or (self._beyond_part(row) if by_role else None)

    def _beyond_names(self, row: Row) -> Beyond | None:
        own_key = _OWN_KEY.get(row.table)
        for column, table in _NAMES.items():
            named = row.cells.get(column)
            if not named or column == own_key:
                continue
            if self._asker.role == OPERATOR and column == "shop_id":
                continue
            if (table, named) not in self._own:
                return Beyond(column, named, self._not_yours)
        if own_key is not None:
            return self._beyond_key(row, own_key)
        return None

    def _beyond_key(self, row: Row, column: str) -> Beyond | None:
        key = str(row.key)
        mine = (row.table, key) in self._own
        free = (row.table, key) not in self._taken and row.table != "shops"
        if not (mine or free):
            return Beyond(column, key, self._not_yours)
        if row.table == "units" and not self._reaches_fleet(row.cells.get("fleet_id") or ""):
            return Beyond("fleet_id", row.cells.get("fleet_id") or "", self._not_yours)
        return None

    def _reaches_fleet(self, fleet: str) -> bool:
        """A fleet of own bikes; a shop may also name none, or one that nobody has."""
        if ("fleets", fleet) in self._own:
            return True
        return self._asker.role != OPERATOR and ("fleets", fleet) not in self._taken

    def _beyond_part(self, row: Row) -> Beyond | None:
        """An operator says when an own bike leaves service, and nothing else of it."""
        if self._asker.role != OPERATOR or row.table != "units":
            return None
        before = self._standing.get((row.table, str(row.key)))
        if before is None:
            return Beyond("unit_id", str(row.key), self._not_yours)
        for name in TABLES["units"].names:
            now, was = row.cells.get(name) or "", before.get(name) or ""
            if name != _RETIRED and now != was:
                return Beyond(name, now, "is for the bike's shop to change")
        return None

    def _beyond_common(self, row: Row) -> Beyond | None:
        known = self._standing.get((row.table, str(row.key)))
        same = known is not None and _plain(known) == _plain(row.cells)
        if row.table == "parts" and (row.table, row.key) in self._taken and not same:
            reason = "is on record for all shops: only who sees all of them may change it"
            return Beyond("part_no", str(row.key), reason)
        return None

    def _beyond_retract(self, cells: Mapping[str, str]) -> Beyond | None:
        table, key = cells.get("table") or "", cells.get("key") or ""
        theirs = Beyond("key", key, self._not_yours)
        if table not in TABLES or table in (*_COMMON, "retract", "shops"):
            return theirs
        if not may_enter(self._asker, table) or (self._asker.role == OPERATOR and table == "units"):
            return theirs
        if key in self._places:
            return None
        first = TABLES[table].key[0]
        named = table if table in _OWN_KEY else _NAMES.get(first, "")
        part = key if table in _OWN_KEY else key.split("/")[0]
        return None if (named, part) in self._own else theirs

    def _note(self, row: Row, *, own: bool) -> None:
        known = (row.table, str(row.key))
        self._taken.add(known)
        (self._own.add if own else self._own.discard)(known)
        if row.table == "parts":
            self._standing[known] = dict(row.cells)
        fleet = row.cells.get("fleet_id") if row.table == "units" else None
        if fleet:
            self._taken.add(("fleets", fleet))
            if own:
                self._own.add(("fleets", fleet))


def parents_first(rows: Sequence[AnyRow]) -> list[tuple[int, AnyRow]]:
    """Rows with their places, bikes before their sensors, these before their tests and repairs.

    Files of one hand-in come by name, and rows of one wait for none of another.
    """
    return sorted(enumerate(rows), key=lambda numbered: _ORDER.get(numbered[1][0], len(_ORDER)))


def _mentioned(rows: Iterable[Row]) -> Iterable[str]:
    for row in rows:
        if row.key is not None:
            yield row.key
        for name in (*_NAMES, "fleet_id"):
            if row.cells.get(name):
                yield row.cells[name]
        if row.table == "retract" and row.cells.get("key"):
            yield row.cells["key"]
            yield row.cells["key"].split("/")[0]


def _plain(cells: Mapping[str, str]) -> dict[str, str]:
    return {name: cell for name, cell in cells.items() if cell}
