"""Change single settings in the owner's file: its comments, its order and other lines stay."""

from __future__ import annotations

import re
import tempfile
import tomllib
from collections.abc import Callable, Mapping, Sequence
from dataclasses import asdict
from pathlib import Path

from models.plans.settings import PlanSettings, settings_from
from pipeline.access.scope.allowed import require_settling
from pipeline.asker import Asker, whoever_is_here
from pipeline.home import Home, HomeError, write_new
from pipeline.intake.deeds import held_for_change
from pipeline.intake.settings.pooled_settings import declared_pooled, pooled_from
from pipeline.intake.settings.settings_file import (
    GIVEN_SECTION,
    TAKEN_SECTION,
    SettingsFile,
    known_settings,
    read_settings,
    read_text,
    section_line,
    setting_lines,
    settings_text,
    value_text,
)
from pipeline.intake.settings.shown_settings import declared_shown, shown_from

_MOST_LINES = 40  # of one value, such as a list of days written one below another
_HEADER = re.compile(r"^\s*\[")
_KEY = re.compile(r"""^\s*("(?:[^"\\]|\\.)*"|'[^']*'|[A-Za-z0-9_-]+)\s*=""")
_BARE = re.compile(r"[A-Za-z0-9_-]+")  # a name that needs no quotes
_OF_SHOPS = (GIVEN_SECTION, TAKEN_SECTION)
# A line of a value over several lines, and the comment at its end.
_COMMENT = re.compile(r"""^(?:"(?:[^"\\]|\\.)*"|'[^']*'|[^#"'])*?(\#.*)$""")
# A value and the comment behind it; texts in quotes may hold the sign that begins a comment.
_SET = re.compile(r"""^(\s*[^=]+=\s*)((?:"(?:[^"\\]|\\.)*"|'[^']*'|[^#"'])*?)(\s*(?:\#.*)?)$""")


def keep_settings(
    home: Home, values: Mapping[str, object], *, asker: Asker | None = None
) -> dict[str, str]:
    """Set these settings where all of them can stand; else write nothing and say what cannot.

    Parameters
    ----------
    home : Home
        Whose file; it is laid out with every default where there is none.
    values : mapping
        Setting to value; settings that are not named stay as they are.
    asker : Asker, optional
        Who sets them; whoever is at this machine.

    Returns
    -------
    dict
        What was expected in place of each value that cannot stand; empty once they are written.

    Raises
    ------
    NotAllowedError
        They hold for all shops, and the asker is no owner who sees all of them.
    HomeError
        The file cannot be read as a whole, or holds one of them in a form that only its writer
        can change. Nothing was written then.
    """
    require_settling(asker or whoever_is_here())
    with held_for_change(home, "settings", asker) as tell:
        return _kept(home, values, tell)


def _kept(
    home: Home,
    values: Mapping[str, object],
    tell: Callable[[bytes, Mapping[str, object]], None],
) -> dict[str, str]:
    before = read_settings(home)
    now: dict[str, object] = {
        **asdict(before.settings),
        **asdict(before.shown),
        **asdict(before.pooled),
    }
    wanted, faults = _checked(now, values)
    if faults:
        return faults
    if not home.settings.exists():
        write_new(home.settings, settings_text(PlanSettings()))
    text = read_text(home.settings)
    refuse_unreadable(text.plain, before.problems)
    wrong = {name for name in values if any(f": {name} is " in told for told in before.problems)}
    edited = text.plain
    for name in values:
        if name in wrong or wanted[name] != now[name]:
            edited = set_in(edited, name, wanted[name])
    if edited == text.plain:
        return {}
    new = text.as_it_was(edited)
    if not _holds(new, {name: wanted[name] for name in values}, len(before.problems)):
        raise HomeError(
            f"{home.settings.name} holds {', '.join(values)} in a form that cannot be changed "
            "here: change it in the file. Nothing was changed."
        )
    changed = {name: [now[name], wanted[name]] for name in values if wanted[name] != now[name]}
    tell(new.encode(), {"settings": changed})
    write_new(home.settings, new)
    return {}


def _checked(
    now: Mapping[str, object], values: Mapping[str, object]
) -> tuple[dict[str, object], dict[str, str]]:
    """Every setting as it is to be, and what was expected in place of what cannot stand."""
    own, shared = declared_shown(), declared_pooled()
    shown, not_shown = shown_from({name: v for name, v in values.items() if name in own})
    pooled, not_pooled = pooled_from({name: v for name, v in values.items() if name in shared})
    rest = {name: v for name, v in values.items() if name not in own | shared}
    kept = {name: v for name, v in now.items() if name not in own | shared}
    settings, faults = settings_from(kept | rest)
    as_shown = {name: getattr(shown, name) for name in values if name in own}
    as_pooled = {name: getattr(pooled, name) for name in values if name in shared}
    return dict(now) | asdict(settings) | as_shown | as_pooled, not_shown | not_pooled | faults


def set_in(text: str, name: str, value: object) -> str:
    """A file's text with one setting changed, or added to its section where it is not there."""
    lines = text.split("\n")
    at = _place(lines, name)
    if at is None:
        header = section_line(known_settings()[name][0].section)
        return "\n".join(_added(lines, header, setting_lines(name, value)))
    return "\n".join(_set_anew(lines, at, name, f"{name} = {value_text(value)}"))


def set_shops_in(text: str, section: str, shop: str, others: Sequence[str]) -> str:
    """A file's text with the shops that one shop is paired with changed in [transfers] or beside.

    Its line is added where it is not there, and one without any shop needs none.
    """
    lines, listed = text.split("\n"), f"[{', '.join(map(value_text, others))}]"
    at = _place(lines, shop, section)
    found = _KEY.match(lines[at]) if at is not None else None
    if at is not None and found is not None:  # the name stays as its writer wrote it
        return "\n".join(_set_anew(lines, at, shop, f"{found[1]} = {listed}"))
    if not others:
        return text
    name = shop if _BARE.fullmatch(shop) else value_text(shop)
    return "\n".join(_added(lines, section_line(section), [f"{name} = {listed}"]))


def _place(lines: list[str], name: str, section: str = "") -> int | None:
    """The line that sets a name in a section; in none, one that is not of shops.

    Shops under [transfers] may be called as they like, also as a setting is.
    """
    inside = ""
    for number, line in enumerate(lines):
        if _HEADER.match(line):
            inside = _header(line)
        elif _key(line) == name and (inside == section if section else inside not in _OF_SHOPS):
            return number
    return None


def _header(line: str) -> str:
    return line.split("#")[0].strip().strip("[]").strip()


def _key(line: str) -> str | None:
    """The name that a line sets, None where it sets none."""
    found = _KEY.match(line)
    if found is None:
        return None
    try:
        return next(iter(tomllib.loads(f"{found[1]} = 0")))
    except tomllib.TOMLDecodeError:
        return None


def _set_anew(lines: list[str], at: int, name: str, line: str) -> list[str]:
    """The lines with what sets a name replaced; comments beside the old value stay."""
    count = _line_count(lines, at, name)
    if count > 1:
        behind = (_COMMENT.match(old) for old in lines[at : at + count])
        comments = [found[1].rstrip() for found in behind if found]
        return [*lines[:at], *comments, line, *lines[at + count :]]
    found = _SET.match(lines[at])
    return [*lines[:at], line + (found[3] if found else ""), *lines[at + 1 :]]


def _line_count(lines: list[str], at: int, name: str) -> int:
    """Over how many lines a value runs; one where it cannot be read."""
    for count in range(1, min(_MOST_LINES, len(lines) - at) + 1):
        try:
            if name in tomllib.loads("\n".join(lines[at : at + count])):
                return count
        except tomllib.TOMLDecodeError:
            continue
    return 1


def _added(lines: list[str], header: str, new: list[str]) -> list[str]:
    """The lines with new ones at the end of a section, which is begun where it is not there."""
    starts = [number for number, line in enumerate(lines) if line.split("#")[0].strip() == header]
    if not starts:
        body = lines[:-1] if lines and not lines[-1].strip() else lines
        return [*body, "", header, *new, ""]
    end = starts[0] + 1
    while end < len(lines) and not _HEADER.match(lines[end]):
        end += 1
    while end > starts[0] + 1 and not lines[end - 1].strip():
        end -= 1
    return [*lines[:end], *new, *lines[end:]]


def refuse_unreadable(text: str, problems: tuple[str, ...]) -> None:
    """Refuse to change a file that cannot be read as a whole.

    Raises
    ------
    HomeError
        It cannot.
    """
    if any(": not readable (" in told for told in problems) and text.strip():
        raise HomeError(f"{problems[0]} Mend the file, or move it away; nothing was changed.")


def _holds(text: str, wanted: Mapping[str, object], problems_before: int) -> bool:
    """Whether a file of this text says what was meant, and nothing more in it fails to be read."""
    found = as_read(text)
    said = asdict(found.settings) | asdict(found.shown) | asdict(found.pooled)
    as_meant = all(said[name] == value for name, value in wanted.items())
    return as_meant and len(found.problems) <= problems_before


def as_read(text: str) -> SettingsFile:
    """What a file of this text would say."""
    with tempfile.TemporaryDirectory(prefix="settings-") as folder:
        trial = Home(Path(folder))
        trial.settings.write_bytes(text.encode())
        return read_settings(trial)
