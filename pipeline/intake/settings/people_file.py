"""Who has which part on the shop's network: ``people.toml`` in the data home.

A person is known by what the provider says of them: an e-mail address that it has verified, or
its own lasting name for them (``sub``). An entry that cannot stand lets nobody in and is named;
the others hold.
"""

from __future__ import annotations

import tomllib
from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

from pipeline.asker import OPERATOR, ROLES, Asker
from pipeline.home import Home
from pipeline.intake.settings.settings_file import read_text

ALL = "all"
_KEYS = ("name", "email", "subject", "part", "shops", "fleets")

TEMPLATE = """\
# Who has which part in Wear Atlas on the shop's network. A change counts from the next press on.
# A person is known by an e-mail address that the provider has verified, or by the provider's own
# name for them (subject). part is "technician", "owner" or "operator". Technicians and owners see
# the shops named, operators the fleets named; "all" in place of the list is all of them.
#
# [[person]]
# name = "Ana Ruiz"
# email = "ana@workshop.example"
# part = "owner"
# shops = "all"
#
# [[person]]
# name = "Tom Lind"
# subject = "8f3c2a"
# part = "technician"
# shops = ["north-street"]
#
# [[person]]
# name = "Rosa Kern"
# email = "rosa@couriers.example"
# part = "operator"
# fleets = ["couriers"]
"""


class PeopleFileError(Exception):
    """The file is missing or cannot be read; nobody has a part until it can."""


@dataclass(frozen=True)
class Person:
    """One entry that stands: how the provider's word is recognised, and the part they have."""

    asker: Asker
    email: str | None
    subject: str | None


@dataclass(frozen=True)
class People:
    """The entries that stand, and what is wrong with the others."""

    persons: tuple[Person, ...]
    problems: tuple[str, ...]

    def asker(self, claims: Mapping[str, object]) -> Asker | None:
        """The part of whom the provider's claims describe, None where nobody gave them one."""
        subject, email = claims.get("sub"), _verified_email(claims)
        by_subject = [p for p in self.persons if p.subject is not None and p.subject == subject]
        by_email = [p for p in self.persons if p.email is not None and p.email == email]
        found = by_subject or by_email
        return found[0].asker if found else None


def read_people(home: Home) -> People:
    """What the file says now.

    Raises
    ------
    PeopleFileError
        The file is missing or cannot be read as a whole.
    """
    path = home.people
    try:
        seen = path.stat()
    except OSError as error:
        raise PeopleFileError(f"{path} is missing or cannot be reached.") from error
    return _read(str(path), seen.st_mtime_ns, seen.st_size)


def asker_of(home: Home, claims: Mapping[str, object]) -> Asker | None:
    """The part that the file gives to whom the claims describe, None where it gives them none.

    Raises
    ------
    PeopleFileError
        The file is missing or cannot be read as a whole.
    """
    return read_people(home).asker(claims)


@lru_cache(maxsize=8)
def _read(path: str, changed_at: int, size: int) -> People:
    try:
        table = tomllib.loads(read_text(Path(path)).plain)
    except (OSError, ValueError) as error:
        raise PeopleFileError(f"{path} cannot be read: {error}.") from error
    file = Path(path).name
    entries = table.pop("person", [])
    odd = [
        f"{file}: {name} is no key of this file; write [[person]] before each." for name in table
    ]
    if not isinstance(entries, list):
        return People((), (*odd, f"{file}: write [[person]] before each person."))
    read = [_person(entry) for entry in entries]
    faults = {number: fault for number, (_, fault) in enumerate(read, 1) if fault}
    standing = {number: person for number, (person, _) in enumerate(read, 1) if person}
    faults |= dict(_twice(standing))
    told = [f"{file}, person {n}: {faults[n]}; they have no part." for n in sorted(faults)]
    kept = [person for number, person in standing.items() if number not in faults]
    return People(tuple(kept), (*odd, *told))


def _person(entry: object) -> tuple[Person | None, str]:
    """The person, or what is wrong with the entry."""
    if not isinstance(entry, dict):
        return None, "no table"
    fault = _fault(entry)
    if fault:
        return None, fault
    part = entry["part"]
    scope = {name: _scope(entry[name]) for name in ("shops", "fleets") if name in entry}
    asker = Asker(entry["name"].strip(), part, **scope)
    email = entry["email"].strip().casefold() if "email" in entry else None
    return Person(asker, email, entry.get("subject")), ""


def _fault(entry: Mapping[str, Any]) -> str:
    """What is wrong with an entry; empty where it may stand."""
    unknown = [name for name in entry if name not in _KEYS]
    if unknown:
        return f"{unknown[0]} is no key; expected {', '.join(_KEYS)}"
    if not _is_text(entry.get("name")):
        return "name is missing; expected how the record of who did what names them"
    if ("email" in entry) == ("subject" in entry):
        return "expected either email or subject"
    known_by = "email" if "email" in entry else "subject"
    if not _is_text(entry[known_by]) or (known_by == "email" and "@" not in entry["email"]):
        return f"{known_by} is {entry[known_by]!r}, expected what the provider says of them"
    if entry.get("part") not in ROLES:
        return f"part is {entry.get('part')!r}, expected one of {', '.join(ROLES)}"
    return _fault_of_scope(entry)


def _fault_of_scope(entry: Mapping[str, Any]) -> str:
    here, there = ("fleets", "shops") if entry["part"] == OPERATOR else ("shops", "fleets")
    if there in entry:
        return f"{there} does not go with part {entry['part']!r}, expected {here}"
    value = entry.get(here)
    listed = isinstance(value, list) and value and all(_is_text(one) for one in value)
    if value != ALL and not listed:
        return f'{here} is {value!r}, expected a list of {here} in quotes, or "{ALL}"'
    return ""


def _twice(standing: Mapping[int, Person]) -> Iterator[tuple[int, str]]:
    """Entries of which another has the name or the mark: neither holds, since none is guessed."""
    for what, of in (
        ("name", lambda person: person.asker.name),
        ("email", lambda person: person.email),
        ("subject", lambda person: person.subject),
    ):
        counts = Counter(of(person) for person in standing.values())
        for number, person in standing.items():
            if of(person) is not None and counts[of(person)] > 1:
                yield number, f"{what} {of(person)!r} stands more than once"


def _scope(value: object) -> frozenset[str] | None:
    return None if value == ALL else frozenset(str(one).strip() for one in value)  # type: ignore[attr-defined]


def _verified_email(claims: Mapping[str, object]) -> str | None:
    """An address counts only where the provider says in so many words that it verified it."""
    email = claims.get("email")
    if claims.get("email_verified") is not True or not isinstance(email, str):
        return None
    return email.strip().casefold()


def _is_text(value: object) -> bool:
    return isinstance(value, str) and bool(value.strip())
