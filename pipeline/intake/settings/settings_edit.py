"""Change single settings in the owner's file: its comments, its order and other lines stay."""

from __future__ import annotations

import re
import tempfile
import tomllib
from collections.abc import Mapping
from dataclasses import asdict
from pathlib import Path

from models.plans.settings import PlanSettings, settings_from
from pipeline.access.scope.allowed import require_settling
from pipeline.asker import Asker, whoever_is_here
from pipeline.home import Home, HomeError, write_new
from pipeline.intake.deeds import changing
from pipeline.intake.settings.pooled_settings import declared_pooled, pooled_from
from pipeline.intake.settings.settings_file import (
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
    _refuse_unreadable(text.plain, before.problems)
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
    with changing(home, "settings", new.encode(), {"settings": changed}, asker):
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
        return "\n".join(_added(lines, name, value))
    count = _line_count(lines, at, name)
    found = _SET.match(lines[at]) if count == 1 else None
    comment = found[3] if found else ""
    return "\n".join([*lines[:at], f"{name} = {value_text(value)}{comment}", *lines[at + count :]])


def _place(lines: list[str], name: str) -> int | None:
    """The line that sets a name; shops under [transfers] may be called as they like."""
    pattern = re.compile(rf"^\s*[\"']?{re.escape(name)}[\"']?\s*=")
    inside = False
    for number, line in enumerate(lines):
        if _HEADER.match(line):
            inside = line.strip().startswith("[transfers")
        elif not inside and pattern.match(line):
            return number
    return None


def _line_count(lines: list[str], at: int, name: str) -> int:
    """Over how many lines a value runs; one where it cannot be read."""
    for count in range(1, min(_MOST_LINES, len(lines) - at) + 1):
        try:
            if name in tomllib.loads("\n".join(lines[at : at + count])):
                return count
        except tomllib.TOMLDecodeError:
            continue
    return 1


def _added(lines: list[str], name: str, value: object) -> list[str]:
    header = section_line(known_settings()[name][0].section)
    starts = [number for number, line in enumerate(lines) if line.split("#")[0].strip() == header]
    if not starts:
        body = lines[:-1] if lines and not lines[-1].strip() else lines
        return [*body, "", header, *setting_lines(name, value), ""]
    end = starts[0] + 1
    while end < len(lines) and not _HEADER.match(lines[end]):
        end += 1
    while end > starts[0] + 1 and not lines[end - 1].strip():
        end -= 1
    return [*lines[:end], *setting_lines(name, value), *lines[end:]]


def _refuse_unreadable(text: str, problems: tuple[str, ...]) -> None:
    if any(": not readable (" in told for told in problems) and text.strip():
        raise HomeError(f"{problems[0]} Mend the file, or move it away; nothing was changed.")


def _holds(text: str, wanted: Mapping[str, object], problems_before: int) -> bool:
    """Whether a file of this text says what was meant, and nothing more in it fails to be read."""
    with tempfile.TemporaryDirectory(prefix="settings-") as folder:
        trial = Home(Path(folder))
        trial.settings.write_bytes(text.encode())
        found = read_settings(trial)
    said = asdict(found.settings) | asdict(found.shown) | asdict(found.pooled)
    as_meant = all(said[name] == value for name, value in wanted.items())
    return as_meant and len(found.problems) <= problems_before
