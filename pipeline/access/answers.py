"""Answers to advice that were typed since the last build, beside those the records hold."""

from __future__ import annotations

from collections.abc import Mapping

import pandas as pd

from pipeline.access.entered.pending import pending_rows
from pipeline.access.frames.view_schemas import WORKLIST
from pipeline.access.scope.allowed import view
from pipeline.asker import Asker
from pipeline.home import Home
from pipeline.intake.contract import ADVISED


@view
def with_pending_answers(home: Home, asker: Asker, rows: pd.DataFrame) -> pd.DataFrame:
    """The same rows with the answers typed since the build; ``answer_pending`` marks them.

    A typed answer stands above the one the records hold, since it came later. Where the advice
    answered was a milder one than that of the row, the answer has ended and is not shown.

    Parameters
    ----------
    home : Home
        Where the answers were saved.
    asker : Asker
        Who asks.
    rows : frame of shape (n, ...)
        WORKLIST.
    """
    return with_answers(rows, answers_since_build(home, asker))


def answers_since_build(home: Home, asker: Asker) -> dict[str, dict[str, str]]:
    """Cells of the asker's answers typed since the build, by sensor, the last alone."""
    latest: dict[str, dict[str, str]] = {}
    for cells in pending_rows(home, asker, "advice_answers")["advice_answers"].values():
        known = latest.get(cells["sensor_id"])
        if known is None or _moment(known) <= _moment(cells):
            latest[cells["sensor_id"]] = cells
    return latest


def with_answers(rows: pd.DataFrame, latest: Mapping[str, Mapping[str, str]]) -> pd.DataFrame:
    """WORKLIST rows with answers laid over them, the last of each sensor, where they still fit."""
    if not latest:
        return rows
    records = rows.to_dict("records")
    for record in records:
        given = latest.get(record["sensor_id"])
        if given is not None and _still_fits(given["advised_action"], record["action"]):
            record.update(_answered(given))
    return WORKLIST.check(pd.DataFrame(records, columns=WORKLIST.names))


@view
def pending_answer_count(home: Home, asker: Asker) -> int:
    """How many answers were given since the build, so that nothing yet counts them."""
    return len(pending_rows(home, asker, "advice_answers")["advice_answers"])


def _still_fits(answered: str, action: str) -> bool:
    return ADVISED.index(action) <= ADVISED.index(answered)


def _moment(cells: Mapping[str, str]) -> pd.Timestamp:
    return pd.Timestamp(cells["answered_at"])


def _answered(cells: Mapping[str, str]) -> dict[str, object]:
    until = cells.get("until")
    return {
        "answer": cells["answer"],
        "answered_on": pd.Timestamp(cells["answered_at"][:10]),
        "answer_to": cells["advised_action"],
        "answer_until": pd.Timestamp(until) if until else pd.NaT,
        "answer_reason": cells.get("reason"),
        "answered_by": cells.get("answered_by"),
        "answer_pending": True,
    }
