"""One drop-out in words: when, where, how deep, how long and which way the hand went."""

from __future__ import annotations

from dashboard.words import known, milliseconds, number, travel

_HANDS = {
    "opening": "while the hand was opening",
    "closing": "while the hand was closing",
    "still": "while the hand was still",
}
_TRACKS = {"both": " in both tracks at once", "b": " in the second track"}


def dropout_label(row: dict) -> str:
    """A drop-out in a list of them."""
    place = travel(row["travel_pct"], "travel not known")
    return f"Drop-out {row['dropout_no']}: {number(row['start_s'], 's', 2)}, {place}"


def dropout_sentence(row: dict, count: int) -> str:
    """One drop-out in a sentence; ``count`` is how many the sweep has."""
    hand = _HANDS.get(str(row["direction"]), "the hand's direction not known")
    stroke = f", pass {int(row['pass_no'])}" if known(row["pass_no"]) else ", outside a pass"
    way = {"fell": "fell", "rose": "rose"}.get(str(row["departure"]), "departed")
    track = _TRACKS.get(str(row["track"]), "")
    return (
        f"Drop-out {row['dropout_no']} of {count:,}: at {number(row['start_s'], 's', 3)} and "
        f"{travel_with_error(row)}, {hand}{stroke}, the reading {way} by "
        f"{number(row['depth_pct'], '% of the applied', 1)} for "
        f"{milliseconds(row['length_s'] * 1000)}{track}."
    )


def travel_with_error(row: dict) -> str:
    """Where on the travel, with its standard uncertainty where that is known."""
    if not known(row["travel_pct"]):
        return "a travel not known"
    error = number(row["travel_error_pct"], "", 1, "")
    place = number(row["travel_pct"], "", 1)
    return f"{place} ± {error} % of travel" if error else f"{place} % of travel"


def what_explains(row: dict) -> str:
    """The contact resistance that the depth amounts to, where load and track are known."""
    if not known(row["contact_ohm"]):
        return ""
    ohm = row["contact_ohm"]
    shown = number(ohm / 1000, "kilohm", 0) if ohm >= 10_000 else number(ohm, "ohm", 0)
    return f"A contact resistance of about {shown} would explain it."
