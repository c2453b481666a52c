"""The worklist as it is shown: its head, one leaf of what is found, and the rest when asked for.

However many sensors are in service, only those shown are read as rows: which they are is found in
the warehouse itself.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import duckdb
import pandas as pd

from models.frames import FrameSchema
from pipeline.access.answers import answers_since_build, with_answers
from pipeline.access.casefolded import fold_parameters
from pipeline.access.frames.view_schemas import (
    SET_ASIDE,
    WORKLIST,
    WORKLIST_CHOICES,
    WORKLIST_OFFERED,
)
from pipeline.access.notices import notices_for
from pipeline.access.reading import Edition, edition_of, read_frame, reading
from pipeline.access.scope.allowed import view
from pipeline.asker import Asker
from pipeline.home import Home
from pipeline.intake.contract import ADVISED
from pipeline.statements import one_row, run

ROWS_A_LEAF = 25
#: More would make a list that nobody reads to its end.
MOST_OFFERED = 200
#: Rows set aside that the head holds; the others are read when they are taken away.
MOST_SET_ASIDE = 100
#: Columns that the list can be put in order by; numbers the greatest first, the rest the least.
ORDERED_BY = (
    *("urgency", "defect_now", "defect_5000_km", "km_since_test"),
    *("last_tested_on", "label"),
)
#: An answer asked for: that there is none.
NO_ANSWER = "none"
_MOST_LEAVES = 10**9
_ALL = 2**62

#: By sensor, the cells of the answer typed last since the build.
Answers = Mapping[str, Mapping[str, str]]


@dataclass(frozen=True)
class WorklistAsked:
    """Which sensors are asked for and in what order; None lets all through, () none.

    Attributes
    ----------
    words : tuple of str
        Each must stand somewhere in who the bike and the sensor are, whatever its case.
    actions, shops : tuple of str or None
        Actions, and identifiers of shops.
    fleets, duties : tuple of str or None
        The same of fleets and duties; ``""`` where there is none.
    answers : tuple of str or None
        Answers that stand, those typed since the build included, or :data:`NO_ANSWER`.
    ordered_by : str
        One of :data:`ORDERED_BY`; ties by bike and mount, blanks last.
    mount_words : tuple of (str, str)
        Mounts as the reader reads them: what ``words`` are looked for in.
    """

    words: tuple[str, ...] = ()
    actions: tuple[str, ...] | None = None
    shops: tuple[str, ...] | None = None
    fleets: tuple[str, ...] | None = None
    duties: tuple[str, ...] | None = None
    answers: tuple[str, ...] | None = None
    ordered_by: str = ORDERED_BY[0]
    mount_words: tuple[tuple[str, str], ...] = ()

    def __post_init__(self) -> None:
        if self.ordered_by not in ORDERED_BY:
            raise ValueError(f"ordered by {self.ordered_by!r}; expected one of {ORDERED_BY}")


@dataclass(frozen=True)
class WorklistView:
    """What stands above the list, and what it can be narrowed by.

    ``summary`` counts the records, ``choices`` WORKLIST_CHOICES, ``set_aside`` SET_ASIDE (its
    first rows), ``notices`` sentences.
    """

    edition: Edition
    summary: dict[str, int]
    choices: pd.DataFrame
    set_aside: pd.DataFrame
    notices: list[str]


@dataclass(frozen=True)
class WorklistLeaf:
    """One leaf of what is found: ``rows`` WORKLIST, ``number`` which leaf, of ``found`` sensors."""

    rows: pd.DataFrame
    number: int
    found: int


@view
def worklist_view(home: Home, asker: Asker) -> WorklistView:
    """Everything the worklist shows but its rows.

    Raises
    ------
    NotThereError
        Nothing is published in this home.
    """
    with reading(home, asker) as (manifest, connection):
        (summary,) = run(connection, "access/sql/summary").df().to_dict("records")
        return WorklistView(
            edition_of(home, manifest),
            summary,
            read_frame(connection, "worklist_choices", WORKLIST_CHOICES),
            read_frame(connection, "set_aside_first", SET_ASIDE, {"most": MOST_SET_ASIDE}),
            notices_for(connection, asker, manifest.as_of),
        )


@view
def worklist_leaf(home: Home, asker: Asker, asked: WorklistAsked, number: int) -> WorklistLeaf:
    """One leaf of the sensors asked for, counted from 1; the last one where there are fewer.

    Raises
    ------
    NotThereError
        Nothing is published in this home.
    """
    answers = answers_since_build(home, asker)
    with reading(home, asker) as (_, connection):
        return leaf_from(connection, asked, number, answers)


@view
def worklist_offered(home: Home, asker: Asker, asked: WorklistAsked) -> pd.DataFrame:
    """WORKLIST_OFFERED of the first sensors asked for: those that an answer can be given to."""
    answers = answers_since_build(home, asker)
    with reading(home, asker) as (_, connection):
        return offered_from(connection, asked, answers)


@view
def worklist_found(home: Home, asker: Asker, asked: WorklistAsked) -> pd.DataFrame:
    """WORKLIST of all the sensors asked for: as many rows as are found, for taking away."""
    answers = answers_since_build(home, asker)
    with reading(home, asker) as (_, connection):
        return found_from(connection, asked, answers)


@view
def worklist_set_aside(home: Home, asker: Asker) -> pd.DataFrame:
    """SET_ASIDE of all that is set aside, for taking away."""
    with reading(home, asker) as (_, connection):
        return read_frame(connection, "set_aside", SET_ASIDE)


def leaf_count(row_count: int) -> int:
    """How many leaves the rows fill, at least one."""
    return max(1, -(-row_count // ROWS_A_LEAF))


def leaf_from(
    connection: duckdb.DuckDBPyConnection, asked: WorklistAsked, number: int, answers: Answers
) -> WorklistLeaf:
    """The same from an open warehouse, with answers typed since it was built."""
    number = min(max(number, 1), _MOST_LEAVES)
    found, sensors = _found(connection, asked, answers, ROWS_A_LEAF, (number - 1) * ROWS_A_LEAF)
    if number > leaf_count(found):
        number = leaf_count(found)
        skipped = (number - 1) * ROWS_A_LEAF
        found, sensors = _found(connection, asked, answers, ROWS_A_LEAF, skipped)
    return WorklistLeaf(_rows_of(connection, sensors, answers), number, found)


def offered_from(
    connection: duckdb.DuckDBPyConnection, asked: WorklistAsked, answers: Answers
) -> pd.DataFrame:
    """WORKLIST_OFFERED of the first sensors asked for, from an open warehouse."""
    _, sensors = _found(connection, asked, answers, MOST_OFFERED)
    return _named(connection, "worklist_offered", WORKLIST_OFFERED, sensors)


def found_from(
    connection: duckdb.DuckDBPyConnection, asked: WorklistAsked, answers: Answers
) -> pd.DataFrame:
    """WORKLIST of all the sensors asked for, from an open warehouse."""
    _, sensors = _found(connection, asked, answers, _ALL)
    return _rows_of(connection, sensors, answers)


def _rows_of(
    connection: duckdb.DuckDBPyConnection, sensors: list[str], answers: Answers
) -> pd.DataFrame:
    return with_answers(_named(connection, "worklist_rows", WORKLIST, sensors), answers)


def _named(
    connection: duckdb.DuckDBPyConnection, name: str, schema: FrameSchema, sensors: list[str]
) -> pd.DataFrame:
    if not sensors:
        return schema.empty()
    return read_frame(connection, name, schema, {"sensor_ids": sensors})


def _found(
    connection: duckdb.DuckDBPyConnection,
    asked: WorklistAsked,
    answers: Answers,
    most: int,
    skipped: int = 0,
) -> tuple[int, list[str]]:
    """How many sensors are found, and those at the places asked for, in order."""
    known = _parameters(asked) | {
        "answered_sensors": list(answers),
        "answered_advice": [cells["advised_action"] for cells in answers.values()],
        "answers_given": [cells["answer"] for cells in answers.values()],
        "most": most,
        "skipped": skipped,
    }
    found, sensors = one_row(run(connection, "access/sql/worklist_found", known))
    return found, sensors or []


def _parameters(asked: WorklistAsked) -> dict:
    return fold_parameters() | {
        "words": [word.casefold() for word in asked.words],
        "mounts": [mount for mount, _ in asked.mount_words],
        "mount_words": [words for _, words in asked.mount_words],
        "actions": _listed(asked.actions),
        "shops": _listed(asked.shops),
        "fleets": _listed(asked.fleets),
        "duties": _listed(asked.duties),
        "answers": _listed(asked.answers),
        "no_answer": NO_ANSWER,
        "by_rising_urgency": list(ADVISED),
        "ordered_by": asked.ordered_by,
    }


def _listed(values: tuple[str, ...] | None) -> list[str] | None:
    return None if values is None else list(values)
