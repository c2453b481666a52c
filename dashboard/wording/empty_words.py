"""What pages say while no bike is on record: what they will show, and how to begin."""

from __future__ import annotations

from dataclasses import dataclass

from dashboard.markup import Html, bullets, joined, link, tag
from pipeline.home import DEMO


@dataclass(frozen=True)
class Empty:
    """A page without records: what it calls itself, its title, and what it will show."""

    here: str
    title: str
    will_show: str


WORKLIST = Empty(
    "Worklist",
    "Sensors in service, and what to do",
    "every sensor in service, the most pressing first: replace, test, not enough known or leave, "
    "and why",
)
WEAR = Empty(
    "Wear map",
    "Where on the travel wear gathers",
    "where tracks wear over their travel, by part and by what bikes are used for, once sweeps are "
    "on record",
)
TRUST = Empty(
    "How far to trust it",
    "How far to trust these chances",
    "how well the stated chances would have held in your own past, once sensors were tested more "
    "than once",
)
COSTS = Empty(
    "Costs and levels",
    "Costs and levels, and what they change",
    "what other costs and levels would change in the advice. Your own can be set already, under "
    "Settings",
)
_FIRST_STEPS = (
    ("Register a first bike", "register", {}, "its plate, its model and its sensor, typed in."),
    ("Hand files in", "hand_in", {}, "lists of bikes, sensors, tests and repairs, CSV or Excel."),
    ("Look at the demo", "./", {"records": DEMO}, "invented shops, to see what comes of it."),
)
_WAITING = "What was entered is kept and is being taken up: it stands here within a minute or so."


def empty_page(empty: Empty) -> Html:
    """The page's title and what it will show."""
    return joined([tag("h1", empty.title), tag("p", f"Here will stand {empty.will_show}.")])


def first_steps(*, waiting: bool) -> Html:
    """What to do while no bike is on record; where entries wait for a build, that they do."""
    if waiting:
        said = tag("p", tag("strong", "No bike is on record yet."), " ", _WAITING)
        return tag("div", said, class_="wa-said")
    ways = bullets(
        joined([link(words, page, "wa-pressed", **query), f": {what}"])
        for words, page, query, what in _FIRST_STEPS
    )
    said = tag("p", tag("strong", "No bike is on record yet."))
    return tag("div", said, ways, class_="wa-said")
