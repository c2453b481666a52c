"""What is on record: how many rows each hand-in brought, and how many records each month has."""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

from models.frames import Column, FrameSchema
from pipeline.access.reading import Edition, edition_of, read_frame, reading
from pipeline.access.scope.allowed import view
from pipeline.asker import Asker
from pipeline.home import Home
from pipeline.intake.receive import handed_in_at
from pipeline.statements import one_row, run

RECORDS_BY_MONTH = FrameSchema(
    "records_by_month",
    "one month and kind of record, in order of month; a month without any has 0",
    (
        Column("month", "date", "first day of the month (UTC)"),
        Column("kind", "text", "tests, repairs or odometer"),
        Column("record_count", "whole", "records that stand and are dated in it", "records"),
    ),
)

RECORDS_BY_HAND_IN = FrameSchema(
    "records_by_hand_in",
    "one contract table of one hand-in, the latest first",
    (
        Column("hand_in", "whole", "number of the hand-in"),
        Column("handed_in_at", "moment", "when it came", blank=True),
        Column("table_name", "text", "contract table, none for files of no table"),
        Column("file_count", "whole", "files of that table", "files"),
        Column("first_file", "text", "the first of them"),
        Column("handed_in", "whole", "rows handed in", "rows"),
        Column("accepted", "whole", "rows that stand or stood", "rows"),
        Column("new_rows", "whole", "of these, of a key that was not there", "rows"),
        Column("replaced", "whole", "of these, in place of an earlier row", "rows"),
        Column("unchanged", "whole", "of these, the same as before", "rows"),
        Column("set_aside", "whole", "rows that are broken or wait", "rows"),
        Column("waiting", "whole", "of these, waiting for a record they name", "rows"),
        Column("whole_files", "whole", "files set aside whole", "files"),
    ),
)


@dataclass(frozen=True)
class RecordsView:
    """``by_month`` RECORDS_BY_MONTH, ``by_hand_in`` RECORDS_BY_HAND_IN."""

    edition: Edition
    by_month: pd.DataFrame
    by_hand_in: pd.DataFrame


@view
def records_view(home: Home, asker: Asker) -> RecordsView:
    """How many records there are, by month and by hand-in.

    Raises
    ------
    NotThereError
        Nothing is published in this home.
    """
    with reading(home, asker) as (manifest, connection):
        found = run(connection, "access/sql/records_by_hand_in").df()
        at = {number: handed_in_at(home, int(number)) for number in found["hand_in"].unique()}
        found["handed_in_at"] = pd.to_datetime(found["hand_in"].map(at), utc=True)
        return RecordsView(
            edition_of(home, manifest),
            read_frame(connection, "records_by_month", RECORDS_BY_MONTH),
            RECORDS_BY_HAND_IN.check(found),
        )


@view
def bike_count(home: Home, asker: Asker) -> int:
    """How many bikes are on record.

    Raises
    ------
    NotThereError
        Nothing is published in this home.
    """
    with reading(home, asker) as (_, connection):
        return int(one_row(run(connection, "access/sql/bike_count"))[0])
