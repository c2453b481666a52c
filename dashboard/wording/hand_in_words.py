"""Files handed in, in plain words: what they are, what comes in, what is set aside and why."""

from __future__ import annotations

from pathlib import Path

import pandas as pd

from dashboard.words import counted, known
from pipeline.access.hand_ins import BecameOf
from pipeline.intake.arriving import is_readable_kind
from pipeline.intake.check_files import FileCheck
from pipeline.intake.contract import TABLES, Table

#: What the rows of each table of the contract are, for people.
TABLE_NAMES = {
    "shops": "Shops",
    "units": "Bikes",
    "odometer": "Odometer readings",
    "parts": "Part numbers",
    "fitments": "Which part fits where",
    "sensors": "Sensors on bikes",
    "test_sessions": "Bench tests",
    "sweeps": "Recorded sweeps",
    "repair_outcomes": "Closed repairs",
    "stock": "Stock counts",
    "calendar": "Free windows of bikes",
    "ride_log": "Throttle over time on rides",
    "advice_answers": "Answers to advice",
    "retract": "Rows taken back",
}
_ONCE_BUILT = (
    "Whether they stand beside all other records (the bike they name, the order of their dates, "
    "odometers that run backwards) is settled when they are taken up, within a minute or so."
)


def table_words(name: str) -> str:
    """A table as people call it, with its name in files."""
    return f"{TABLE_NAMES[name]} ({name})" if name in TABLE_NAMES else "no table"


def what_it_is(check: FileCheck) -> str:
    """What a file was taken for, and how many of its rows can be read."""
    if not check.is_readable:
        return f"cannot be taken in: {_whole_reason(check)}"
    what = f"{TABLE_NAMES[check.table]} ({check.table})"
    rows = counted(check.rows, "row")
    if not check.rows:
        return f"{what}: no rows below the header."
    if not check.broken:
        return f"{what}: {rows}, all can be read."
    read = check.rows - check.broken
    return f"{what}: {rows}, of which {read:,} can be read and {check.broken:,} would be set aside."


def _whole_reason(check: FileCheck) -> str:
    if check.trouble:
        return f"{check.trouble}."
    if not is_readable_kind(check.came_as):
        kind = Path(check.came_as).suffix
        named = f"files that end in {kind}" if kind else "files without an ending"
        return f"{named} are not read here. Hand in .csv, .parquet or a workbook such as .xlsx."
    if not check.table:
        return "its name begins with no table's name. Say below what its rows are."
    wrong = check.issues[check.issues["effect"].eq("file")]
    return f"{wrong['reason'].iloc[0]}." if len(wrong) else "it holds nothing that can be read."


def what_comes_in(checks: tuple[FileCheck, ...]) -> str:
    """All files that can be read together, before they are handed in."""
    ready = [check for check in checks if check.is_readable]
    rows = sum(check.rows - check.broken for check in ready)
    broken = sum(check.broken for check in ready)
    said = f"{counted(rows, 'row')} can come in"
    aside = f", {broken:,} would be set aside, to be corrected afterwards" if broken else ""
    return f"{said}{aside}. {_ONCE_BUILT}"


def effect_words(effect: str) -> str:
    """What comes of something that is wrong."""
    return {
        "row": "row set aside",
        "cell": "row comes in, this value left blank",
        "file": "whole file set aside",
    }.get(effect, effect)


def under_other_names(check: FileCheck) -> str:
    """Which columns are read under other names; nothing where none is."""
    if not check.columns:
        return ""
    pairs = ", ".join(f"“{theirs}” as {ours}" for theirs, ours in check.columns)
    return f"Read under other names: {pairs}."


def became_words(became: BecameOf) -> list[str]:
    """What became of a hand-in, in sentences."""
    tables = became.tables
    handed, accepted, aside = (
        int(tables[name].sum()) for name in ("handed_in", "accepted", "set_aside")
    )
    said = [f"{counted(handed, 'row')} handed in: {accepted:,} accepted, {aside:,} set aside."]
    waiting = int(tables["waiting"].sum())
    if waiting:
        said.append(
            f"{waiting:,} of those set aside wait for a record they name, and come in by "
            "themselves once it is there."
        )
    if became.settled:
        said.append(f"{became.settled:,} of those set aside are settled by a later row already.")
    for name, reason in became.files[["file_name", "reason"]].itertuples(index=False):
        said.append(f"{name} was set aside whole: {reason}.")
    return said


def column_words(table: Table) -> str:
    """A table's columns in a sentence: those that must be there first."""
    rest = [name for name in table.names if name not in table.required]
    must = ", ".join(table.required)
    return f"must have {must}" + (f"; may have {', '.join(rest)}" if rest else "")


def stands_for(table: str, ours: str) -> str:
    """One of our columns as it is offered for a name in a file."""
    if not ours:
        return "leave this column out"
    field = next(field for field in TABLES[table].fields if field.name == ours)
    unit = f", {field.unit}" if field.unit else ""
    return f"{ours}{unit}{' (must be there)' if field.required else ''}"


def month_reading(by_month: pd.DataFrame, kind: str, words: str) -> str:
    """How many records of a kind there are, and in which month the most."""
    rows = by_month[by_month["kind"].eq(kind)]
    total = int(rows["record_count"].sum())
    if not total:
        return f"No {words} on record."
    most = rows.loc[rows["record_count"].idxmax()]
    bare = int(rows["record_count"].eq(0).sum())
    all_of_them = counted(total, words.removesuffix("s"), words)
    fullest = f"{month_words(most['month'])} ({int(most['record_count']):,})"
    said = f"{all_of_them} on record, most in {fullest}"
    return f"{said}; {counted(bare, 'month')} without any." if bare else f"{said}; none without."


def month_words(month: object) -> str:
    """A month as year and month."""
    return f"{pd.Timestamp(month):%Y-%m}" if known(month) else ""
