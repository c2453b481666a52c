"""Answers to advice from the screen: one form for several sensors, saved as contract rows.

What a settled answer needs is a rule of the intake (``history/answers_without_ground.sql``); the
same is asked for here, so that nothing is saved that the next build would set aside.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime

from pipeline.asker import Asker
from pipeline.home import Home
from pipeline.intake.typed.entries import Trouble, refuse, save_entry

_TABLE = "advice_answers"


@dataclass(frozen=True)
class Answer:
    """What the shop says: ``kind`` is accept, put_off or overrule."""

    kind: str
    until: date | None = None
    reason: str = ""
    answered_by: str = ""


def save_answers(
    home: Home,
    advised: Sequence[tuple[str, str]],
    answer: Answer,
    *,
    now: datetime | None = None,
    asker: Asker | None = None,
) -> int:
    """Save one answer to the advice on each sensor; return the number of the hand-in.

    Parameters
    ----------
    home : Home
        Where to.
    advised : sequence of (sensor_id, action)
        The sensors, and what was advised for each when it was answered.
    answer : Answer
        The same for all.
    now : datetime, optional
        When it is given, with its offset; the present moment.
    asker : Asker, optional
        Who saves it; whoever is at this machine.

    Raises
    ------
    EntryError
        No sensor is named, a reason or a date is missing, the date is not after the day of the
        answer, or a cell is not what the contract expects.
    """
    moment = now or datetime.now(UTC).astimezone()
    refuse(_lacking(advised, answer, moment))
    row = {
        "answered_at": moment.isoformat(timespec="seconds"),
        "answer": answer.kind,
        "until": answer.until.isoformat() if answer.kind == "put_off" and answer.until else "",
        "reason": answer.reason.strip(),
        "answered_by": answer.answered_by.strip(),
    }
    rows = [row | {"sensor_id": sensor, "advised_action": action} for sensor, action in advised]
    return save_entry(home, {_TABLE: rows}, now=moment, asker=asker)


def _lacking(advised: Sequence[tuple[str, str]], answer: Answer, moment: datetime) -> list[Trouble]:
    found = []
    if not advised:
        found.append(Trouble(_TABLE, 1, "sensor_id", "", "none is chosen; expected at least one"))
    if answer.kind != "accept" and not answer.reason.strip():
        found.append(Trouble(_TABLE, 1, "reason", "", "blank; expected a reason"))
    if answer.kind == "put_off" and (answer.until is None or answer.until <= moment.date()):
        until = answer.until.isoformat() if answer.until else ""
        found.append(Trouble(_TABLE, 1, "until", until, "expected a date after today"))
    return found
