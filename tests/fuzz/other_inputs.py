"""What else comes from outside as text: sweeps dropped in, settings, column names, drafts.

Each is held to the same: it is read, or refused in the words declared for it.
"""

from __future__ import annotations

import json
import random
from collections.abc import Callable
from dataclasses import asdict

from models.plans.settings import PlanSettings
from pipeline.home import Home, HomeError
from pipeline.intake.column_names import read_column_names, renamed
from pipeline.intake.contract import TABLES
from pipeline.intake.settings.settings_file import (
    known_settings,
    read_settings,
    settings_text,
    value_text,
)
from pipeline.intake.typed.drafts import draft, keep_draft
from pipeline.intake.typed.dropped_sweep import (
    SweepTextError,
    likely_columns,
    read_sweep_text,
    sweep_csv,
)
from tests.askers import HERE
from tests.fuzz.made_files import ODD, damaged

NAME = "0123456789abcdef"


def sweep_amiss(lot: random.Random, home: Home) -> list[str]:
    """A logger's export: every line that holds anything is a sample or the header."""
    mark = lot.choice((",", ";", "\t", "  "))
    header = [mark.join(("time", "signal", "more"))] if lot.random() < 0.5 else []
    oddness = lot.choice((0.0, 0.05, 0.7))
    lines = [
        mark.join(_sweep_cell(lot, oddness) for _ in range(3))
        for _ in range(lot.choice((0, 1, 40)))
    ]
    content = "\n".join([*header, *lines]).encode()
    content = damaged(lot, content) if lot.random() < 0.5 else content
    try:
        sweep = read_sweep_text(content)
    except SweepTextError as error:
        return [] if str(error) else ["refused without words"]
    columns = likely_columns(sweep.names, {})
    try:
        text = sweep_csv(sweep, "T1", columns, time_in_ms=lot.random() < 0.5)
    except SweepTextError:
        return []
    records = sum(line.startswith(b"T1,") for line in text.splitlines())
    return [] if records >= len(sweep.rows) else [f"{records} of {len(sweep.rows)} samples"]


def _sweep_cell(lot: random.Random, oddness: float) -> str:
    return lot.choice(ODD) if lot.random() < oddness else f"{lot.uniform(-5, 50):.4f}"


def settings_amiss(lot: random.Random, home: Home) -> list[str]:
    """An owner's settings: whatever the file says, each setting stands within its bounds."""
    text = settings_text(PlanSettings())
    lines = text.splitlines()
    for _ in range(lot.randrange(6)):
        name, odd = lot.choice(list(known_settings())), lot.choice(ODD)
        value = lot.choice((odd, value_text(odd), "[1, [2]]", "{a = 1}", "1979-05-27", "true"))
        lines.insert(lot.randrange(len(lines)), f"{name} = {value}")
    content = "\n".join(lines).encode("utf-8", "surrogatepass")
    home.settings.write_bytes(damaged(lot, content) if lot.random() < 0.6 else content)
    found = read_settings(home)
    values = asdict(found.settings)
    outside = [
        name
        for name, (bounds, default) in known_settings().items()
        if name in values and bounds.fault(values[name], default)
    ]
    silent = [problem for problem in found.problems if not problem.strip()]
    return [f"outside its bounds: {outside}"] if outside else silent


def column_names_amiss(lot: random.Random, home: Home) -> list[str]:
    """Names remembered: our own columns once each, or a file that is said to be damaged."""
    theirs = [lot.choice((*ODD, "Bike no", "Datum")) for _ in range(lot.randrange(12))]
    table = lot.choice(list(TABLES.values()))
    known = {name: lot.choice((*table.names, "", "none of ours")) for name in theirs}
    odd: object = lot.choice(([], 1, None, {"a": 1}, known, known, known))
    content = json.dumps({table.name: odd}).encode()
    home.column_names.write_bytes(damaged(lot, content) if lot.random() < 0.5 else content)
    try:
        read = read_column_names(home, HERE)
    except HomeError as error:
        return [] if "is damaged" in str(error) else ["refused in other words"]
    header = [*theirs, *lot.sample(table.names, 1)]
    found = renamed(read.get(table.name, {}), header, table)
    ours = list(found.values())
    wrong = len(ours) != len(set(ours)) or not set(ours) <= set(table.names) - set(header)
    return [f"columns given twice: {found}"] if wrong else []


def draft_amiss(lot: random.Random, home: Home) -> list[str]:
    """A form begun: what was typed comes back, or a damaged draft is none."""
    values = {f"field {n}": lot.choice((*ODD, 1, 2.5, None, True)) for n in range(5)}
    keep_draft(home, HERE, NAME, "test", dict(values))
    path = home.drafts / f"{NAME}.json"
    try:
        kept = draft(home, HERE, NAME)
        if kept is None or kept.values != values:
            return [f"typed {values}, kept {kept}"]
        path.write_bytes(damaged(lot, path.read_bytes()))
        draft(home, HERE, NAME)
    finally:
        path.unlink()
    return []


OTHERS: tuple[Callable[[random.Random, Home], list[str]], ...] = (
    sweep_amiss,
    settings_amiss,
    column_names_amiss,
    draft_amiss,
)


def amiss(seed: int, home: Home) -> list[str]:
    """What is wrong with the reading of the input of one seed."""
    lot = random.Random(seed)  # noqa: S311 - no secret
    return lot.choice(OTHERS)(lot, home)
