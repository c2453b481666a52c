"""Where to begin: what this is, the demo, and a shop's own records at one press."""

from __future__ import annotations

import streamlit as st

from dashboard import records, surround
from dashboard.markup import Html, bullets, joined, link, tag
from dashboard.signing_in import reached_at, sign_in_lasts, who_asks
from pipeline.access.scope.allowed import require
from pipeline.access.views import current_version
from pipeline.home import DEMO, OWN, HomeError, demo_home, own_home
from pipeline.jobs.start_own import start_own

TITLE = "What this is, and how to begin"
_WHAT = (
    "Wear Atlas keeps a workshop's bench tests and repairs of throttle position sensors. It learns "
    "from the shop's own good sensors which readings are good, finds drop-outs and roughness in "
    "recorded sweeps, and estimates how likely each sensor is to have a defect by the distance it "
    "has run.",
    "From that it says which sensors to test, which to replace and which parts to order, what that "
    "is expected to save, and how well its chances held in the shop's own past.",
    "It never declares a bike safe. Too little evidence is said to be just that.",
    "Everything is kept on the machine where this runs: nothing is sent anywhere else.",
)
_BEGUN = "start_begun"
_ALONE = (
    "As it was started, this dashboard answers this machine alone. To let tablets and phones in "
    "the shop reach it, start it with "
)
_TOGETHER = (
    ". It then asks everyone to sign in, and shows nothing to those who have no part. The first "
    "start writes the two files to fill in: how it is reached, and who is let in."
)


def show() -> None:
    """Draw the page."""
    require(who_asks(), "start")
    surround.top_line(surround.worklist_link(), "Start")
    st.html(joined([tag("h1", TITLE), *(tag("p", sentence) for sentence in _WHAT)]))
    surround.show_cautions(whole=False)
    _demo()
    _own()
    _others()


def _demo() -> None:
    surround.heading("Look at the demo first")
    if current_version(demo_home()) is None:
        command = tag("code", "python3 -m pipeline demo")
        st.html(tag("p", "The demo is not built. It is made by ", command, "."))
        return
    said = (
        "Invented shops with invented bikes, tests and repairs: no measured values. What you enter "
        "there stays there and never mixes with your own records."
    )
    way = link("Look at the demo", "./", "wa-pressed", records=DEMO)
    st.html(joined([tag("p", said), tag("p", way)]))


def _own() -> None:
    surround.heading("Your own records")
    home = own_home()
    if home.kind == DEMO:
        st.html(tag("p", "This dashboard was started on the demo's folder: start it without "
                         "--home and WEAR_ATLAS_HOME to have records of your own."))  # fmt: skip
    elif home.kind == OWN and current_version(home) is not None:
        _go_on(str(home.root))
    else:
        _begin(exists=home.kind == OWN)


def _begin(*, exists: bool) -> None:
    said = (
        "They are begun but not published, so that pages cannot show them yet."
        if exists
        else "They begin empty: nothing has to be known beforehand. Bikes, sensors and tests can "
        "be typed in one by one, or handed in as files."
    )
    folder = tag("p", "They will be kept in ", tag("code", own_home().root), ".", class_="wa-quiet")
    st.html(joined([tag("p", said), folder]))
    words = "Publish my own records" if exists else "Start my own records"
    if not st.button(words, key="start_own", type="primary"):
        return
    try:
        with st.spinner("Making your records …"):
            start_own(own_home())
    except HomeError as error:
        st.html(tag("p", str(error), role="alert", class_="wa-waits"))
        return
    st.session_state["which_records"] = OWN
    st.session_state[_BEGUN] = True
    st.rerun()


def _go_on(folder: str) -> None:
    if st.session_state.get(_BEGUN):
        st.html(tag("p", tag("strong", "Your own records are begun."), role="status"))
    kept = tag("p", "They are kept in ", tag("code", folder), ".", class_="wa-quiet")
    st.html(joined([kept, bullets(_ways())]))


def _others() -> None:
    """Whether tablets and phones reach this, and what to do so that they do."""
    surround.heading("Tablets and phones")
    address = reached_at()
    if address is None:
        command = tag("code", "python3 -m dashboard --network")
        st.html(tag("p", _ALONE, command, _TOGETHER))
        return
    lasts = f" by those who have a part here; a sign-in lasts {sign_in_lasts()}."
    st.html(tag("p", "This dashboard is reached at ", tag("code", address), lasts))


def _ways() -> list[Html]:
    ways = (
        ("Register a bike", "register", "its plate, its model and its sensor."),
        ("Hand files in", "hand_in", "lists of bikes, sensors, tests and repairs, CSV or Excel."),
        ("Set costs, currency, dates and distances", "settings", "as they are in your shop."),
        ("Open your worklist", "./", "what to do, once sensors are on record."),
    )
    own = {records.WHICH: OWN}
    return [
        joined([link(words, page, "wa-pressed", **own), f": {what}"]) for words, page, what in ways
    ]


if __name__ == "__main__":
    surround.bare_page(show)
