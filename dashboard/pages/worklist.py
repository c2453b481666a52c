"""The worklist: every sensor in service, what to do about it and why."""

from __future__ import annotations

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
from pipeline.access.scope.allowed import may_enter
from pipeline.access.worklist_view import WorklistAsked, WorklistLeaf, WorklistView

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
    if not view.summary["sensors"]:
        surround.nothing("No sensor in service is on record.")
    else:
        _list(shown, view)
    show_set_aside(
        view.set_aside,
        of="from the files handed in",
        count=view.summary["set_aside"],
        whole=lambda: records.worklist_set_aside(shown),
    )


def _tally(view: WorklistView) -> None:
    counts = [
        tag("span", action_mark(action), f" {count:,}", title=ACTION_MEANINGS[action])
        for action, count in sieve.tally(view.summary).items()
    ]
    bikes = counted(view.summary["bikes"], "bike")
    whole = tag("span", f"{counted(view.summary['sensors'], 'sensor')} in service on {bikes}")
    aside = view.summary["set_aside"]
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


def _list(shown: records.Shown, view: WorklistView) -> None:
    named = _asked(once(view, "choices", lambda: sieve.choices(view.choices)))
    # For the way back from a bike's page.
    st.session_state["worklist_left_at"] = sieve.address(named, st.session_state.get("leaf", 1))
    asked = once(view, named, lambda: sieve.asked_of(named, view.choices))
    leaf = records.worklist_leaf(shown, asked, _leaf_expected())
    with st.container(horizontal=True, vertical_alignment="center"):
        words = _found_words(leaf.found, view.summary["sensors"], named.chosen)
        st.html(tag("p", words), width="content")
        st.download_button(
            "Save these rows as CSV",
            data=lambda: sieve.exported(records.worklist_found(shown, asked)),
            file_name="worklist.csv",
            mime="text/csv",
            key="worklist_csv",
            on_click="ignore",
            disabled=not leaf.found,
        )
    if not leaf.found:
        surround.nothing("No sensor matches. Take a filter away to see more.")
        return
    if may_enter(shown.asker, "advice_answers"):
        answer_part(shown, lambda: records.worklist_offered(shown, asked), leaf.found)
    _leaves(shown, asked, leaf)


def _leaves(shown: records.Shown, asked: WorklistAsked, leaf: WorklistLeaf) -> None:
    """The rows, and below them the way to others; another leaf than expected is read anew."""
    leaves = sieve.leaf_count(leaf.found)
    above = st.container()
    number = 1
    if leaves > 1:
        number = st.pagination(leaves, key="leaf", max_visible_pages=5, **_BOUND)
    if number != leaf.number:
        leaf = records.worklist_leaf(shown, asked, number)
    above.html(sensor_list(leaf.rows))


def _leaf_expected() -> int:
    """The leaf that will be asked for, as far as it is known before the way to others is drawn."""
    known = st.session_state.get("leaf") or st.query_params.get("leaf", "")
    return int(known) if str(known).isdecimal() and len(str(known)) < 10 else 1


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
