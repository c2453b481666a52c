"""The form of counts, orders and arrivals on the page of parts, and what waits for the plan."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date

import pandas as pd
import streamlit as st

from dashboard import records
from dashboard.forms.entry_troubles import begin_anew, saved, say_once
from dashboard.markup import bullets, tag
from dashboard.sieve import shop_names
from dashboard.wording.stock_entry_words import (
    KINDS,
    MEANING,
    NOTHING_TO_COUNT,
    arrival_words,
    known_words,
    pending_words,
    place_words,
    saved_words,
)
from dashboard.wording.stock_words import order_now
from dashboard.words import counted
from pipeline.access.reading import Edition
from pipeline.intake.typed.stock_entries import save_arrival, save_count, save_order

_FIELDS = ("stock_on_hand", "stock_on_order", "stock_many", "stock_due")
_SAVED, _DONE, _ASKED = "stock_saved", "stock_done", "stock_asked"
_ADVISED = ("order_parts", "order_packs", "pack_size", "transfer_in", "transfer_out")


def stock_entry_part(
    shown: records.Shown, plan: pd.DataFrame, asked: tuple[str | None, str | None]
) -> pd.DataFrame:
    """What waits for the plan, and a fold with the form; returns STOCK_BOOK rows that wait.

    ``plan`` STOCK_ROWS; ``asked`` the shop and part named in the address, chosen to begin with.
    """
    book = records.stock_book(shown)
    if book.rows.empty:
        st.html(tag("p", NOTHING_TO_COUNT, class_="wa-quiet"))
        return book.rows
    rows = book.rows.assign(shop=shop_names(book.rows))
    key = ["shop_id", "part_no"]
    rows = rows.merge(plan[[*key, *_ADVISED]], on=key, how="left")
    _begin_with(rows, asked)
    say_once(_SAVED)
    waiting = rows[rows["pending"]]
    _waiting(waiting)
    fold = st.expander(
        "Put in a count, an order or an arrival", key="stock_fold", on_change="rerun"
    )
    if fold.open:
        with fold:
            begin_anew(*_FIELDS, where=_DONE)
            _form(shown, book.edition, rows)
    return waiting


def _begin_with(rows: pd.DataFrame, asked: tuple[str | None, str | None]) -> None:
    """Choose what the address names, once; whoever chooses otherwise afterwards keeps that."""
    if asked == st.session_state.get(_ASKED):
        return
    st.session_state[_ASKED] = asked
    found = rows[rows["shop_id"].eq(asked[0]) & rows["part_no"].eq(asked[1])]
    if len(found):
        st.session_state["stock_shop"] = found["shop"].iloc[0]
        st.session_state["stock_part"] = asked[1]


def _waiting(rows: pd.DataFrame) -> None:
    if rows.empty:
        return
    head = f"Put in since this plan was made, and not in it yet: {counted(len(rows), 'part')}."
    said = [pending_words(row, row["shop"]) for row in rows.to_dict("records")]
    st.html(tag("div", tag("p", head), bullets(said), class_="wa-said"))


def _form(shown: records.Shown, edition: Edition, rows: pd.DataFrame) -> None:
    with st.container(horizontal=True, vertical_alignment="bottom"):
        shop = st.selectbox("Shop", rows["shop"].unique().tolist(), key="stock_shop", width=340)
        here = {row["part_no"]: row for row in rows[rows["shop"].eq(shop)].to_dict("records")}
        part_no = st.selectbox(
            "Part",
            list(here),
            key="stock_part",
            index=None,
            format_func=lambda part: place_words(here[part]) if part in here else part,
            placeholder="Choose a part",
            width=500,
        )
    kind = st.radio(
        "What to put in",
        list(KINDS),
        key="stock_kind",
        format_func=KINDS.__getitem__,
        horizontal=True,
    )
    place = here.get(part_no)
    st.html(tag("p", MEANING[kind], class_="wa-quiet"))
    if place is None:
        st.html(tag("p", "Choose a part to begin.", class_="wa-quiet"))
        return
    advised = f" The plan advises: {order_now(place)}." if pd.notna(place["order_parts"]) else ""
    st.html(tag("p", f"Known so far: {known_words(place)}{advised}"))
    today = edition.as_of if edition.is_demo else date.today()
    with st.form("stock_form", border=False):
        with st.container(horizontal=True):
            save = _FORMS[kind](shown, place, today)
        pressed = st.form_submit_button("Save", key="stock_save")
    if pressed and saved(save):
        told = saved_words(kind, place)
        if kind == "arrival":
            many, there = (st.session_state[name] for name in ("stock_many", "stock_on_hand"))
            told = f"{told} {arrival_words(place, many, there)}".strip()
        st.session_state[_SAVED], st.session_state[_DONE] = told, True
        st.rerun()


def _count(shown: records.Shown, place: dict, today: date) -> Callable[[], object]:
    on_hand = _parts("On the shelf", "stock_on_hand")
    counted_on = _day("Counted on", "stock_on", today)
    on_order = _parts("On order (blank: none)", "stock_on_order")
    due_on = _day("Order due on", "stock_due")
    return lambda: save_count(
        shown.home,
        place,
        counted_on=counted_on,
        on_hand=on_hand,
        on_order=on_order,
        due_on=due_on,
        asker=shown.asker,
    )


def _order(shown: records.Shown, place: dict, _: date) -> Callable[[], object]:
    ordered = _parts("Parts ordered", "stock_many")
    due_on = _day("Due on", "stock_due")
    return lambda: save_order(shown.home, place, ordered=ordered, due_on=due_on, asker=shown.asker)


def _arrival(shown: records.Shown, place: dict, today: date) -> Callable[[], object]:
    arrived = _parts("Parts arrived", "stock_many")
    on_hand = _parts("On the shelf with them", "stock_on_hand")
    arrived_on = _day("Arrived on", "stock_on", today)
    return lambda: save_arrival(
        shown.home,
        place,
        arrived_on=arrived_on,
        arrived=arrived,
        on_hand=on_hand,
        asker=shown.asker,
    )


_FORMS = {"count": _count, "order": _order, "arrival": _arrival}


def _parts(label: str, key: str) -> int | None:
    # no bounds: a field that refuses a value by itself leaves an earlier message standing
    return st.number_input(
        f"{label}, parts" if "parts" not in label.lower() else label,
        value=None,
        step=1,
        format="%d",
        key=key,
        placeholder="a number",
        width=260,
    )


def _day(label: str, key: str, value: date | None = None) -> date | None:
    return st.date_input(label, value=value, key=key, format="YYYY-MM-DD", width=260)
