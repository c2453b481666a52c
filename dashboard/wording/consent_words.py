"""What owners say of parts passed between their shops, in sentences."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from dashboard.words import counted

FOLD = "Which shops parts may be passed to and from"
MEANS = (
    "Parts are passed on only between shops whose owners both agree: the one that gives them says "
    "so, and the one that takes them.",
    "Until the other owner agrees, nothing is proposed. Each owner sees only what is said of their "
    "own shops.",
    "What is kept here counts from the next build on; either owner can take it back.",
)
HOW = "Name another shop by its number in the records, such as mill-lane: its owner can tell you."
GIVES, TAKES = "May give parts to", "May take parts from"
NOTHING_SAID = "Nothing is agreed for this shop, and no other owner offers anything."
_STATES = {
    "agreed": "agreed by both owners.",
    "waits": "you agree; it waits for the other owner.",
    "offered": "the other owner agrees; you have not agreed yet.",
}


def shop_words(shop_id: str, names: Mapping[str, str]) -> str:
    """A shop by its name and number, by its number alone where the name is not the reader's."""
    name = names.get(shop_id)
    return f"{name} ({shop_id})" if name and name != shop_id else shop_id


def consent_words(row: Mapping, names: Mapping[str, str]) -> str:
    """How one way that parts may go stands, from the own shop's side."""
    way = "Parts to" if row["gives"] else "Parts from"
    return f"{way} {shop_words(row['other'], names)}: {_STATES[row['state']]}"


def offers_words(count: int) -> str:
    """How many offers of other owners wait for the reader."""
    verb = "waits" if count == 1 else "wait"
    return f"{counted(count, 'offer')} of another shop's owner {verb} for you to agree."


def kept_words(shop_id: str, names: Mapping[str, str], standing: Iterable[str]) -> str:
    """What stands after a save."""
    states = list(standing)
    waits, agreed = states.count("waits"), states.count("agreed")
    told = f"Kept for {shop_words(shop_id, names)}"
    if not waits and not agreed:
        return f"{told}: no parts are passed to or from it."
    parts = [
        f"{agreed} agreed by both owners" if agreed else "",
        f"{waits} waiting for the other owner" if waits else "",
    ]
    said = " and ".join(filter(None, parts))
    return f"{told}: {said}. It counts from the next build on."
