"""Counts, orders and arrivals of parts in sentences."""

from __future__ import annotations

from dashboard.words import counted, day, known

#: What can be put in, as offered in the form.
KINDS = {
    "count": "Counted",
    "order": "Ordered",
    "arrival": "Arrived",
}
MEANING = {
    "count": "What lies on the shelf at the end of that day, whatever the records say.",
    "order": (
        "It is noted on the latest count, which stays as it is. The records hold one day for all "
        "that is on order: the one put in here."
    ),
    "arrival": (
        "An arrival is a count as well: put the parts on the shelf and count all that lie there."
    ),
}
NOTHING_TO_COUNT = (
    "Parts can be counted here once a shop and a part number are on record, such as with the first "
    "bike that is entered."
)
NOT_IN_PLAN = "not in the plan yet"


def place_words(row: dict) -> str:
    """A part as it is offered in the form."""
    described = f", {row['description']}" if known(row["description"]) else ""
    return f"{row['part_no']}{described}"


def known_words(row: dict) -> str:
    """What is known of a part's stock, from which count."""
    if not known(row["counted_on"]):
        return "Never counted here."
    fitted = f", {row['used_since']} fitted since" if row["used_since"] else ""
    waits = f" ({NOT_IN_PLAN})" if row["pending"] else ""
    return (
        f"{counted(int(row['on_hand_now']), 'part')} on the shelf ({int(row['counted'])} counted "
        f"on {day(row['counted_on'])}{fitted}), {due_words(row)}{waits}."
    )


def due_words(row: dict) -> str:
    """What is still to come: ``2 on order, due 2026-06-10``."""
    if not known(row["due_now"]) or not row["due_now"]:
        return "none on order"
    when = f", due {day(row['order_due_on'])}" if known(row["order_due_on"]) else ", day not known"
    return f"{int(row['due_now'])} on order{when}"


def pending_words(row: dict, shop: str) -> str:
    """One count, order or arrival that the plan does not hold yet."""
    return f"{shop}, part {row['part_no']}: {known_words(row)}"


def saved_words(kind: str, row: dict) -> str:
    """What was saved."""
    return (
        f"Saved: {KINDS[kind].lower()}, part {row['part_no']}. It shows below at once and comes "
        "into the plan with the next build."
    )


def arrival_words(row: dict, arrived: int, on_hand: int) -> str:
    """How a count at an arrival differs from what was expected; nothing where it does not."""
    if not known(row["on_hand_now"]):
        return ""
    expected = int(row["on_hand_now"]) + arrived
    said = []
    if on_hand != expected:
        fewer = "fewer" if on_hand < expected else "more"
        said.append(
            f"{counted(abs(on_hand - expected), 'part')} {fewer} on the shelf than the records "
            f"led to expect ({expected})."
        )
    if arrived > row["due_now"]:
        said.append(f"Only {int(row['due_now'])} had been on order.")
    return " ".join(said)
