"""The owner's settings: one file to edit in the data home, ``settings.toml``.

A value that cannot stand, and a line that cannot be read, is named with its line and what was
expected; it stays at its assumed default, and all the others hold.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass, field, fields
from itertools import groupby
from pathlib import Path
from typing import Any

from models.plans.settings import Bounds, PlanSettings, declared, settings_from
from pipeline.home import Home, write_new
from pipeline.intake.settings.pooled_settings import PooledSettings, declared_pooled, pooled_from
from pipeline.intake.settings.shown_settings import (
    SECTION,
    ShownSettings,
    declared_shown,
    shown_from,
)

_HEAD = """\
# Costs, levels and limits of Wear Atlas, and how values are shown. Money is in your own currency.
# Every default is assumed and has no published source: put in what is true of your shop.
# The next build takes the changes up: python3 -m pipeline rebuild
"""
_TRANSFERS = """
[transfers]
# Which shop's owner gives parts to which others, for instance:
# north-street = ["mill-lane", "harbour"]
"""
_TAKEN = """
[transfers_taken]
# Which shop's owner takes parts from which others. A transfer is proposed only where both the
# giver (above) and the taker (here) say so, for instance:
# mill-lane = ["north-street"]
"""
GIVEN_SECTION, TAKEN_SECTION = "transfers", "transfers_taken"
_Pairs = tuple[tuple[str, str], ...]


@dataclass(frozen=True)
class SettingsFile:
    """What the file says: settings, pairs of shops (giver, taker), and what could not stand.

    ``transfers`` are the pairs whose owners both agree, ``given`` those that the giver's owner
    says, ``taken`` those that the taker's says. ``shown`` says how values are shown, ``pooled``
    what must stand behind a figure that is shown beyond one shop.
    """

    settings: PlanSettings
    transfers: tuple[tuple[str, str], ...]
    problems: tuple[str, ...]
    shown: ShownSettings = field(default_factory=ShownSettings)
    pooled: PooledSettings = field(default_factory=PooledSettings)
    given: tuple[tuple[str, str], ...] = ()
    taken: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True)
class Text:
    """A file's text with plain line ends, and the mark and line ends that it came with."""

    plain: str
    mark: str = ""
    line_end: str = "\n"

    def as_it_was(self, plain: str) -> str:
        """Another text in the same dress."""
        return self.mark + plain.replace("\n", self.line_end)


def read_text(path: Path) -> Text:
    """The text of a file as some editors save it: with a byte order mark, with other line ends."""
    whole = path.read_bytes().decode("utf-8")
    mark = "\ufeff" if whole.startswith("\ufeff") else ""
    line_end = "\r\n" if "\r\n" in whole else "\n"
    return Text(whole.removeprefix(mark).replace("\r\n", "\n"), mark, line_end)


def read_settings(home: Home) -> SettingsFile:
    """The owner's settings, the assumed defaults where there is no file yet."""
    path = home.settings
    if not path.exists():
        return SettingsFile(PlanSettings(), (), ())
    try:
        text = read_text(path).plain
        table, left_out = _read_lines(text)
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        told = f"{path.name}: not readable ({error}), so every setting is at its assumed default."
        return SettingsFile(PlanSettings(), (), (told,))
    given, taken, odd = _said_of_transfers(table)
    transfers = tuple(pair for pair in given if pair in taken)
    values: dict[str, object] = {}
    for name, value in table.items():
        values.update(value if isinstance(value, dict) else {name: value})
    seen = {name: values.pop(name) for name in declared_shown() if name in values}
    shown, not_shown = shown_from(seen)
    shared = {name: values.pop(name) for name in declared_pooled() if name in values}
    pooled, not_pooled = pooled_from(shared)
    settings, faults = settings_from(values)
    values |= seen | shared
    unread = [_unread(path.name, number, line, values) for number, line in left_out]
    named = _named(path.name, text, values, faults | not_shown | not_pooled)
    problems = [*unread, *named, *(f"{path.name}: {one}" for one in odd)]
    return SettingsFile(settings, transfers, tuple(problems), shown, pooled, given, taken)


def known_settings() -> dict[str, tuple[Bounds, float | str]]:
    """Every setting that the file may hold, by name: its bounds and its assumed default."""
    return {**declared(), **declared_shown(), **declared_pooled()}


def write_settings(
    home: Home,
    settings: PlanSettings,
    transfers: tuple[tuple[str, str], ...] = (),
    shown: ShownSettings | None = None,
) -> None:
    """Write the file anew and whole, every setting with its meaning and its assumed default."""
    write_new(home.settings, settings_text(settings, transfers, shown))


def settings_text(
    settings: PlanSettings,
    transfers: tuple[tuple[str, str], ...] = (),
    shown: ShownSettings | None = None,
) -> str:
    """The file's text."""
    parts, known = [_HEAD], known_settings()
    values = asdict(settings) | asdict(shown or ShownSettings()) | asdict(PooledSettings())
    for section, names in groupby(known, key=lambda name: known[name][0].section):
        parts.append(f"\n{section_line(section)}")
        for name in names:
            parts += setting_lines(name, values[name])
    given = _shops_listed(transfers)
    taken = _shops_listed((taker, giver) for giver, taker in transfers)
    return "\n".join(parts) + "\n" + _TRANSFERS + given + _TAKEN + taken


def _shops_listed(pairs: Iterable[tuple[str, str]]) -> str:
    """A line for each shop: the others that it is paired with."""
    return "".join(
        f"{value_text(shop)} = [{', '.join(value_text(other) for _, other in of)}]\n"
        for shop, of in groupby(sorted(pairs), key=lambda pair: pair[0])
    )


def section_line(section: str) -> str:
    """The line that begins a section."""
    return f"[{section.replace(' ', '_')}]"


def setting_lines(name: str, value: object) -> list[str]:
    """A setting's meaning with its default, and the line that sets it."""
    bounds, default = known_settings()[name]
    unit = f", {bounds.unit}" if bounds.unit else ""
    words = f", one of {', '.join(bounds.words)}" if bounds.words else ""
    assumed = "" if bounds.section == SECTION else "assumed "
    meaning = f"# {bounds.meaning}{unit}{words}; {assumed}default {value_text(default)}"
    return [meaning, f"{name} = {value_text(value)}"]


def changed_settings(settings: PlanSettings) -> list[str]:
    """Names of the settings that are not at their assumed default."""
    return [f.name for f in fields(PlanSettings) if getattr(settings, f.name) != f.default]


def value_text(value: object) -> str:
    """A text or number as the file writes it."""
    if isinstance(value, str):
        escaped = value.replace("\\", "\\\\").replace('"', '\\"')
        return '"' + "".join(c if c.isprintable() else f"\\U{ord(c):08x}" for c in escaped) + '"'
    return repr(value)


def _read_lines(text: str) -> tuple[dict[str, Any], list[tuple[int, str]]]:
    """The file's table without the lines that cannot be read, and these with their numbers.

    Raises
    ------
    tomllib.TOMLDecodeError
        No single line is at fault, as where a text or list is never closed.
    """
    lines = text.split("\n")
    left_out: list[tuple[int, str]] = []
    while True:
        try:
            return tomllib.loads("\n".join(lines)), left_out
        except tomllib.TOMLDecodeError as error:
            at = re.search(r"line (\d+)", str(error))
            number = int(at[1]) if at else 0
            if not 0 < number <= len(lines) or not lines[number - 1].strip():
                raise
            left_out.append((number, lines[number - 1].strip()))
            lines[number - 1] = ""


def _unread(file: str, number: int, line: str, values: Mapping[str, object]) -> str:
    """What a line that cannot be read says, and what was expected there."""
    name, _, value = (part.strip() for part in line.partition("="))
    if name not in known_settings() or name in values:  # where it is set twice, the first holds
        return f"{file}, line {number}: {line} cannot be read; it is left out."
    bounds, default = known_settings()[name]
    expected = bounds.fault(None, default)
    comma = re.match(r"([-+]?\d+),(\d+)\s*(#|$)", value)
    if comma:
        expected += f", with a point: {comma[1]}.{comma[2]}"
    return (
        f"{file}, line {number}: {name} is {value}, which cannot be read, expected {expected}; it "
        "stays at its assumed default."
    )


def _named(file: str, text: str, values: dict[str, object], faults: dict[str, str]) -> list[str]:
    return [
        f"{file}, line {_line(text, name)}: {name} is {values.get(name)!r}, {fault}; it stays at "
        "its assumed default."
        if name in known_settings()
        else f"{file}, line {_line(text, name)}: {name}: {fault}; it is left out."
        for name, fault in faults.items()
    ]


def _line(text: str, name: str) -> int:
    """The line on which a name is set, 1 where it cannot be found."""
    pattern = re.compile(rf"^\s*[\"']?{re.escape(name)}[\"']?\s*=")
    return next((n for n, line in enumerate(text.splitlines(), 1) if pattern.match(line)), 1)


def _said_of_transfers(table: dict[str, Any]) -> tuple[_Pairs, _Pairs, list[str]]:
    """Pairs of giver and taker as givers say them and as takers do, and what cannot count."""
    given, odd = _transfers(table.pop(GIVEN_SECTION, {}), GIVEN_SECTION)
    said, odd_too = _transfers(table.pop(TAKEN_SECTION, {}), TAKEN_SECTION)
    taken = tuple((giver, taker) for taker, giver in said)
    alone = [
        f"[{GIVEN_SECTION}] {giver} gives parts to {taker}, but [{TAKEN_SECTION}] does not say "
        f"that {taker} takes them from {giver}: none is proposed until both owners agree."
        for giver, taker in given
        if (giver, taker) not in taken
    ]
    return given, taken, [*odd, *odd_too, *alone]


def _transfers(table: object, section: str) -> tuple[_Pairs, list[str]]:
    if not isinstance(table, dict):
        return (), [f"{section} is {table!r}, expected a section [{section}]; it is left out."]
    pairs, odd = [], []
    for giver, takers in table.items():
        if isinstance(takers, list) and all(isinstance(taker, str) for taker in takers):
            pairs += [(giver, taker) for taker in takers]
        else:
            odd.append(f"[{section}] {giver} is {takers!r}, expected a list of shops in quotes.")
    return tuple(pairs), odd
