"""What stands around every page: style, where one is, which records are shown, cautions."""

from __future__ import annotations

import logging
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import streamlit as st

from dashboard import look, markup, records
from dashboard.heap import settle_heap
from dashboard.put import loaded, put
from dashboard.shown_as import show_as
from dashboard.signing_in import sign_out_link, signed_in_as, who_asks
from dashboard.wording.empty_words import Empty, empty_page, first_steps
from dashboard.wording.pending_words import how_far_words
from dashboard.words import counted, day
from pipeline.access.reading import TooFewShopsError
from pipeline.access.scope.allowed import NotAllowedError, allowed, may_settle
from pipeline.access.texts import cautions
from pipeline.access.views import Edition, NotThereError
from pipeline.home import OWN, Home, HomeError
from pipeline.jobs.take_up import (
    NotTakenUp,
    not_taken_up,
    stop_build,
    take_up,
    take_up_if_due,
)

_SCRIPT = Path(__file__).with_name("navigate.js")
_LOG = logging.getLogger("dashboard")
TOP = "Worklist"
BENCH = "Bench"
_NOT_STOPPED = "build_not_stopped"
POWERED_PLATES = 2  # among the cautions: what drive-by-wire plates do


@dataclass(frozen=True)
class Listed:
    """A page named at the top of every page; ``here`` is what it calls itself.

    ``view`` is what it reads: it is offered to those whose part lets them read that.
    """

    words: str
    address: str
    here: str
    view: str


PAGES = (
    Listed("Worklist", "./", TOP, "worklist_view"),
    Listed("Bench", "bench", BENCH, "bench_view"),
    Listed("Fleet", "fleet", "Fleet", "fleet_view"),
    Listed("Checks", "checks", "Checks", "check_plan_view"),
    Listed("Parts", "parts", "Parts", "stock_view"),
    Listed("Repairs", "repairs", "What repairs came to", "repairs_view"),
    Listed("Wear map", "wear", "Wear map", "wear_view"),
    Listed("Trust", "trust", "How far to trust it", "trust_view"),
    Listed("Costs", "costs", "Costs and levels", "what_if_base"),
    Listed("Hand in", "hand_in", "Hand files in", "records_view"),
    Listed("Settings", "settings", "Settings", "settings_view"),
    Listed("Start", "start", "Start", "start"),
)


#: What those pages read that are not named at the top.
_FURTHER = {"job": "job_view", "register": "register_view", "tags": "tags_view"}
_READ_BY = {listed.address: listed.view for listed in PAGES} | _FURTHER


def page(draw: Callable[[records.Shown], None], *, empty: Empty | None = None) -> None:
    """Draw one page within its surroundings; what cannot be shown is said instead.

    ``empty`` stands for a page that has nothing to show while no bike is on record.
    """
    _ground()
    try:
        shown = records.shown_records()
        show_as(records.shown_settings(shown))
        if empty is not None and records.holds_no_bike(shown):
            top_line(worklist_link(), empty.here)
            st.html(empty_page(empty))
            _first_steps(shown.home)
        else:
            draw(shown)
    except NotAllowedError as error:
        not_for_you(str(error))
    except TooFewShopsError as error:
        too_few_shops(str(error))
    except (NotThereError, HomeError) as error:
        not_there(str(error))
    else:
        _look_out_for_newer(shown)
    loaded()
    settle_heap()


def bare_page(draw: Callable[[], None]) -> None:
    """Draw a page that needs no records."""
    _ground()
    try:
        draw()
    except NotAllowedError as error:
        not_for_you(str(error))
    except HomeError as error:
        not_there(str(error))


def _ground() -> None:
    """What all that follows stands on: who asks, the style, and how links are followed."""
    who_asks()
    st.html(look.style_sheet())
    st.html(f"<script>{_SCRIPT.read_text(encoding='utf-8')}</script>", unsafe_allow_javascript=True)


def top_line(*steps: markup.Html | str) -> None:
    """The program's name, every page, and where one is where that is none of them.

    ``steps`` lead here from the worklist, this page last.
    """
    listed = offered()
    first = listed[0].address if listed else "./"
    name = markup.link("Wear Atlas", first, "wa-name")
    pages = [*(_to_page(page, here=steps[-1] == page.here) for page in listed), *_reader()]
    way = [] if any(steps[-1] == page.here for page in PAGES) else _way_here(steps)
    put(
        markup.joined(
            [markup.tag("nav", name, *pages, class_="wa-top", aria_label="All pages"), *way]
        )
    )


def _reader() -> list[markup.Html]:
    """Who is signed in, and the way out; nothing where nobody signs in."""
    name = signed_in_as()
    if name is None:
        return []
    return [markup.tag("span", name, class_="wa-reader"), sign_out_link("Sign out")]


def offered() -> list[Listed]:
    """The pages that the asker's part lets them open."""
    asker = who_asks()
    return [page for page in PAGES if allowed(asker, page.view)]


def may_open(address: str) -> bool:
    """Whether the asker's part lets them open a page; one that nobody listed is everyone's."""
    return address not in _READ_BY or allowed(who_asks(), _READ_BY[address])


def way(
    words: object, address: str, class_: str | None = "wa-pressed", **query: str | list[str]
) -> markup.Html:
    """A link to a page; nothing where the asker's part does not let them open it."""
    if not may_open(address):
        return markup.Html("")
    return markup.link(words, address, class_, **query)


def ways(*links: markup.Html, between: str = ", ") -> markup.Html:
    """Links in a line of their own, those that are nothing left out; nothing without any."""
    there = [link for link in links if link]
    return markup.tag("p", markup.joined(there, between)) if there else markup.Html("")


def _to_page(page: Listed, *, here: bool) -> markup.Html:
    if here:
        return markup.tag("span", page.words, class_="wa-here", aria_current="page")
    kept = st.session_state.get("worklist_left_at", {}) if page.address == "./" else {}
    return markup.link(page.words, page.address, **kept)


def _way_here(steps: tuple[markup.Html | str, ...]) -> list[markup.Html]:
    up = [markup.tag("span", step, class_="wa-step") for step in steps[:-1] if step != TOP]
    here = markup.tag("span", steps[-1], class_="wa-here", aria_current="page")
    return [markup.tag("nav", *up, here, class_="wa-way", aria_label="Where you are")]


def worklist_link() -> str:
    """The step that every way begins with: the worklist, listed above among all pages."""
    return TOP


def which_records(edition: Edition, *, first_to_do: bool = True) -> None:
    """The demo says that it is invented; a home without bikes says what to do first.

    Where newer records cannot be read, that comes before all else.
    """
    if edition.instead:
        put(markup.tag("p", edition.instead, class_="wa-said wa-care", role="alert"))
    if edition.is_demo:
        way_on = (
            markup.link("Back to your own records", "./", "wa-pressed", records=OWN)
            if records.own_exists()
            else way("Start your own records", "start")
        )
        said = markup.tag("p", "Demo: invented shops, not measured. ", way_on)
        put(markup.tag("div", said, class_="wa-said"))
    elif first_to_do:
        home = Home(Path(edition.home))
        if records.holds_no_bike(records.Shown(home, edition.version, who_asks())):
            _first_steps(home)


def _first_steps(home: Home) -> None:
    put(first_steps(waiting=not_taken_up(home).hand_ins > 0))


def records_as_of(edition: Edition) -> str:
    """One line on the records behind a page."""
    return f"Records as of {day(edition.as_of)}, version {edition.version}."


def show_cautions(*, whole: bool) -> None:
    """The usual cautions: all of them where a test is judged, else the weightiest above a fold."""
    said = cautions()
    head = markup.tag("p", markup.tag("strong", "Before any work on a bike: "), said[0])
    rest = markup.bullets(said[1:])
    body = rest if whole else markup.fold("All cautions", rest)
    if not whole:
        head = markup.tag(
            "p",
            markup.tag("strong", "Before any work on a bike: "),
            " ".join((said[0], said[POWERED_PLATES], *said[-2:])),
        )
    put(markup.tag("div", head, body, class_="wa-said wa-care"))


def not_for_you(message: str) -> None:
    """A page that is not for the asker's part: whom it is for, and where to go instead."""
    top_line("Not for your part")
    yours = [part for page in offered() for part in (markup.link(page.words, page.address), " ")]
    st.html(
        markup.tag(
            "div",
            markup.tag("h1", "This page is not for your part"),
            markup.tag("p", message),
            markup.tag("p", "Yours are: ", *yours) if yours else "",
        )
    )


def too_few_shops(message: str) -> None:
    """A page of figures that too few shops stand behind: what it would take, and the way on."""
    top_line("Not shown")
    back = markup.tag("p", "Your own records are as they were: ", markup.link(TOP, "./"), ".")
    head = markup.tag("h1", "Too few shops stand behind this")
    st.html(markup.tag("div", head, markup.tag("p", message), back))


def not_there(message: str) -> None:
    """Nothing to show: say what is missing and what to do."""
    top_line("Nothing to show")
    back = way("Open the worklist", "./", None)
    what_next = ways(
        way("Which records there are, and how to begin", "start"),
        way("Hand files in", "hand_in"),
        between=". ",
    )
    st.html(
        markup.tag(
            "div",
            markup.tag("h1", "Nothing to show here"),
            markup.tag("p", message, _looked_in()),
            markup.tag("p", back, ", or go back.") if back else "",
            what_next,
        )
    )


def _looked_in() -> str:
    """Where there are two sets of records, which of them was looked in."""
    try:
        if not records.own_exists():
            return ""
    except HomeError:  # a damaged home is what the message tells of
        return ""
    if records.demo_asked_for():
        return " The demo was looked in; your own records are apart from it."
    return " Your own records were looked in; the demo is apart from them."


def nothing(sentence: str) -> None:
    """A part of a page that has nothing in it."""
    put(markup.tag("p", sentence, class_="wa-quiet"))


def heading(words: str) -> None:
    """The heading of a part of a page."""
    put(markup.tag("h2", words))


@st.fragment(run_every="15s")
def _look_out_for_newer(shown: records.Shown) -> None:
    """Say so when newer records are published, or entries wait, while a page is open."""
    try:
        newest = records.shown_records()
        take_up_if_due(shown.home)
        waiting = records.waits(shown.home, shown.asker)
    except (NotThereError, HomeError, OSError) as error:
        _LOG.warning("cannot tell whether there are newer records: %s", error)
        return
    said = waiting_words(waiting)
    if newest == shown and not said:
        return
    with st.container(key="newer"):
        if said:
            st.html(markup.tag("p", said, role="status"))
            _begin_or_stop(shown, waiting)
        if newest != shown:
            st.html(markup.tag("p", "Newer records have been published."))
            if st.button("Show the newer records", key="show_newer"):
                st.rerun(scope="app")


def _begin_or_stop(shown: records.Shown, waiting: NotTakenUp) -> None:
    """What can be pressed: begin a build, or stop the one begun before, for those who may."""
    refused = st.session_state.pop(_NOT_STOPPED, "")
    if refused:
        st.html(markup.tag("p", f"It was not stopped: {refused}", role="alert"))
    if not waiting.building:
        st.button("Take them up now", key="take_up", on_click=lambda: take_up(shown.home))
    elif waiting.can_stop and may_settle(shown.asker):
        st.button("Stop this build", key="stop_build", on_click=lambda: _stop(shown))


def _stop(shown: records.Shown) -> None:
    try:
        stop_build(shown.home, shown.asker)
    except (HomeError, OSError) as error:
        st.session_state[_NOT_STOPPED] = str(error)


def waiting_words(waiting: NotTakenUp) -> str:
    """What is said of entries that the records shown do not hold, and of a build at work."""
    at = f" ({how_far_words(waiting.how_far)})" if waiting.how_far else ""
    if waiting.building and waiting.stopped:
        return "The build is being stopped."
    if not waiting.hand_ins:
        return f"The records are being worked out anew{at}." if waiting.building else ""
    said = f"{counted(waiting.hand_ins, 'saved entry', 'saved entries')} not in these records yet"
    if waiting.failed:
        return f"{said}. The build begun for them ended without publishing: {waiting.failed}"
    if waiting.stopped:
        return (
            f"{said}: the build begun for them was stopped, so that the records are not up to date."
        )
    if not waiting.building:
        return f"{said}."
    return f"{said}: they are being taken up now{at}."
