"""What else comes from outside: recordings of loggers, settings, column names, drafts.

Each is held to the same: it is read, or refused in the words declared for it.
"""

from __future__ import annotations

import io
import json
import random
from collections.abc import Callable
from dataclasses import asdict

from pyarrow import parquet

from models.plans.settings import PlanSettings
from pipeline.home import Home, HomeError
from pipeline.intake.column_names import read_column_names, renamed
from pipeline.intake.contract import TABLES
from pipeline.intake.loggers.readers import as_log_file, contract_file, look_at, sweep_of
from pipeline.intake.loggers.recording import LogChoice, LogError
from pipeline.intake.settings.settings_file import (
    known_settings,
    read_settings,
    settings_text,
    value_text,
)
from pipeline.intake.typed.drafts import draft, keep_draft
from tests.askers import HERE
from tests.fuzz.made_files import ODD, damaged
from tests.fuzz.recordings import made_recording

NAME = "0123456789abcdef"


def recording_amiss(lot: random.Random, home: Home) -> list[str]:
    """A logger's recording: what is read of it is a sweep of the contract, sample by sample."""
    content = made_recording(lot)
    lost = lot.choice((True, False, None))
    full_v, zero_v = lot.choice((5.0, None, 0.0, float("nan"))), lot.choice((0.0, 2.5))
    try:
        with as_log_file(content, "made.log") as file:
            look = look_at(file, {"signal": "signal"})
            names = [channel.name for channel in look.channels]
            columns = look.likely if lot.random() < 0.7 else {"signal": lot.choice([*names, "no"])}
            choice = LogChoice(columns, lot.random() < 0.5, full_v, zero_v, lost)
            sweep = sweep_of(file, choice)
    except LogError as error:
        return [] if str(error) else ["refused without words"]
    name, written = contract_file(sweep, "T1")
    said = [] if look.channels and all(sweep.troubles) else ["no channel, or a silent trouble"]
    if name.endswith(".parquet"):
        count = parquet.read_metadata(io.BytesIO(written)).num_rows
    else:
        count = sum(line.startswith(b"T1,") for line in written.splitlines())
    return said if count >= len(sweep.samples) else [f"{count} of {len(sweep.samples)} samples"]


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
    recording_amiss,
    settings_amiss,
    column_names_amiss,
    draft_amiss,
)


def amiss(seed: int, home: Home) -> list[str]:
    """What is wrong with the reading of the input of one seed."""
    lot = random.Random(seed)  # noqa: S311 - no secret
    return lot.choice(OTHERS)(lot, home)
