"""Answers to advice in sentences."""

from __future__ import annotations

from dashboard.words import ACTIONS, counted, day, known, plain

#: What a shop may say, as offered in the form.
KINDS = {
    "accept": "Accept",
    "put_off": "Put off until a date",
    "overrule": "Overrule",
}
#: The same as a state of a sensor; ``none`` where no answer stands.
STATES = {
    "none": "No answer",
    "accept": "Accepted",
    "put_off": "Put off",
    "overrule": "Overruled",
}
FLOOR = (
    "The chance of a defect now has reached the set floor. The advice stands as it is: an answer "
    "makes no bike safe."
)
#: What an answer does and does not change, said in the form.
MEANING = (
    "An answer is kept beside the advice and shown with it; the advice itself does not change, and "
    "the plans of parts and of checks go on counting the work. It ends when its date comes, when "
    "the sensor is tested or repaired, when worse is advised, or with your next answer."
)


def answer_head(row: dict) -> str:
    """The answer in a few words: ``Put off until 2026-12-01``."""
    said = STATES[row["answer"]]
    return f"{said} until {day(row['answer_until'])}" if known(row["answer_until"]) else said


def answer_rest(row: dict) -> str:
    """Its reason, who gave it and when, and what was advised then where that was something else."""
    reason = f": {str(row['answer_reason']).rstrip('.')}." if known(row["answer_reason"]) else "."
    by = f" by {row['answered_by']}" if known(row["answered_by"]) else ""
    then = plain(row["answer_to"], ACTIONS)
    other = f" The advice was “{then}” then." if row["answer_to"] != row["action"] else ""
    waits = " Saved, and not in the records of the plans yet." if row["answer_pending"] else ""
    return f"{reason} Answered on {day(row['answered_on'])}{by}.{other}{waits}"


def floor_words(row: dict) -> str:
    """The warning that goes with an answer against the advice above the floor; else nothing."""
    above = known(row["above_floor"]) and bool(row["above_floor"])
    return FLOOR if above and row["answer"] in ("put_off", "overrule") else ""


def floor_counted(above: int, chosen: int) -> str:
    """The same while the answer is being given, for all that are chosen; nothing where none is."""
    if not above:
        return ""
    few = "It is" if chosen == 1 else f"{above:,} of the {chosen:,} chosen are"
    return (
        f"{few} at or above the set floor of risk. Putting off or overruling is noted, and the "
        "advice stays on the list as it is: no answer makes a bike safe."
    )


def saved_words(kind: str, sensors: int) -> str:
    """What was saved."""
    return (
        f"Saved: {STATES[kind].lower()} for {counted(sensors, 'sensor')}. It shows below at once."
    )


def waiting_answers(count: int) -> str:
    """Answers that the counts do not hold yet."""
    given = f"{counted(count, 'answer')} given since these records were built"
    stand = "stands" if count == 1 else "stand"
    return f"{given} {stand} on the worklist; what comes of it is counted from the next build on."


def choice_words(row: dict) -> str:
    """A sensor as it is offered in the form."""
    mount = plain(row["mount"])
    return f"{row['label']}, {mount}: {plain(row['action'], ACTIONS)} (sensor {row['sensor_id']})"
