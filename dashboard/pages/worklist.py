"""The worklist: every sensor in service, what to do about it and why."""

from __future__ import annotations

import pandas as pd
import streamlit as st

from dashboard import records, sieve, surround
from dashboard.markup import bullets, fold, joined, tag
from dashboard.once import once
from dashboard.parts.answer_part import answer_part
from dashboard.parts.sensor_list import action_mark, sensor_list
from dashboard.parts.set_aside_list import show_set_aside
from dashboard.put import put, together
from dashboard.wording import empty_words
from dashboard.words import ACTION_MEANINGS, counted
from pipeline.access.answers import with_pending_answers
from pipeline.access.entered.pending import last_entry_of
from pipeline.access.scope.allowed import may_enter
from pipeline.access.views import WorklistView

_BOUND = {"bind": "query-params"}
_CHOSEN = (("shop", "Shop"), ("fleet", "Fleet"), ("duty", "Duty"), ("answer", "Answer"))


def show(shown: records.Shown) -> None:
    """Draw the page."""
    view = records.worklist(shown)
    with together():
        surround.top_line("Worklist")
        surround.which_records(view.edition)
        put(tag("h1", "Sensors in service, and what to do"))
        _tally(view)
        surround.show_cautions(whole=False)
        if view.notices:
            said = counted(len(view.notices), "notice on these records", "notices on these records")
            put(fold(said, bullets(view.notices)))
    if view.rows.empty:
        surround.nothing("No sensor in service is on record.")
    else:
        _list(shown, _answered(shown, view))
    show_set_aside(view.set_aside, of="from the files handed in")


def _tally(view: WorklistView) -> None:
    rows = view.rows
    counts = [
        tag("span", action_mark(action), f" {count:,}", title=ACTION_MEANINGS[action])
        for action, count in once(rows, "tally", lambda: sieve.tally(rows)).items()
    ]
    bikes = counted(once(rows, "bikes", rows["unit_id"].nunique), "bike")
    whole = tag("span", f"{counted(len(rows), 'sensor')} in service on {bikes}")
    aside = len(view.set_aside)
    about = [
        surround.records_as_of(view.edition),
        f"{counted(aside, 'entry', 'entries')} set aside, listed at the end." if aside else "",
        "“Likely” gives the range of a chance (90 %).",
    ]
    ways = surround.ways(
        surround.way("What parts to order", "parts"),
        surround.way("When to call bikes in", "checks"),
        surround.way("Costs and levels", "costs"),
        surround.way("How far to trust these chances", "trust"),
        surround.way("Where wear gathers", "wear"),
        between=". ",
    )
    put(
        joined(
            [
                tag("div", whole, *counts, class_="wa-tally"),
                tag("p", " ".join(filter(None, about)), class_="wa-quiet"),
                ways,
            ]
        )
    )


def _answered(shown: records.Shown, view: WorklistView) -> pd.DataFrame:
    """The rows with the answers typed since the build."""
    last = last_entry_of(shown.home, "advice_answers")
    return once(
        view,
        ("answered", last),
        lambda: with_pending_answers(shown.home, shown.asker, view.rows),
    )


def _list(shown: records.Shown, rows: pd.DataFrame) -> None:
    asked = _asked(once(rows, "choices", lambda: sieve.choices(rows)))
    # For the way back from a bike's page.
    st.session_state["worklist_left_at"] = sieve.address(asked, st.session_state.get("leaf", 1))
    found = once(rows, asked, lambda: sieve.sieved(rows, asked))
    with st.container(horizontal=True, vertical_alignment="center"):
        st.html(tag("p", _found_words(len(found), len(rows), asked.chosen)), width="content")
        st.download_button(
            "Save these rows as CSV",
            data=lambda: sieve.exported(found),
            file_name="worklist.csv",
            mime="text/csv",
            key="worklist_csv",
            on_click="ignore",
            disabled=found.empty,
        )
    if found.empty:
        surround.nothing("No sensor matches. Take a filter away to see more.")
        return
    if may_enter(shown.asker, "advice_answers"):
        answer_part(shown, found)
    leaves = sieve.leaf_count(len(found))
    above = st.container()
    number = 1
    if leaves > 1:
        number = st.pagination(leaves, key="leaf", max_visible_pages=5, **_BOUND)
    above.html(sensor_list(sieve.leaf(found, number)))


def _asked(offered: dict[str, list[str]]) -> sieve.Sieve:
    """The filters; each lives in the address under its key."""
    with st.container(horizontal=True, vertical_alignment="bottom"):
        words = st.text_input(
            "Find a bike, sensor, model or part",
            key="find",
            placeholder="Part of its label or number",
            on_change=_first_leaf,
            width=340,
            **_BOUND,
        )
        actions = st.pills(
            "What to do",
            offered["action"],
            selection_mode="multi",
            key="action",
            wrap=True,
            on_change=_first_leaf,
            **_BOUND,
        )
    with st.expander("Shop, fleet, duty, answer and order"):
        chosen = {
            name: st.multiselect(
                label, offered[name], key=name, on_change=_first_leaf, placeholder="All", **_BOUND
            )
            for name, label in _CHOSEN
        }
        order = st.selectbox(
            "Order", list(sieve.ORDERS), key="order", on_change=_first_leaf, **_BOUND
        )
    return sieve.Sieve(
        words=words or "",
        actions=tuple(actions or ()),
        shops=tuple(chosen["shop"]),
        fleets=tuple(chosen["fleet"]),
        duties=tuple(chosen["duty"]),
        answers=tuple(chosen["answer"]),
        order=order,
    )


def _found_words(found: int, of: int, chosen: bool) -> str:
    if not chosen:
        return f"All {counted(of, 'sensor')}."
    return f"{found:,} of {counted(of, 'sensor')} match."


def _first_leaf() -> None:
    """Another filter begins at the first leaf again."""
    st.session_state.pop("leaf", None)


if __name__ == "__main__":
    surround.page(show, empty=empty_words.WORKLIST)
