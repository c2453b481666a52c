"""A form's save, and what stands against it said beside the form."""

from __future__ import annotations

from collections.abc import Callable

import streamlit as st

from dashboard.markup import bullets, joined, tag
from pipeline.home import HomeError
from pipeline.intake.typed.entries import EntryError, Trouble

#: What forms call a column, where its own words are not plain.
ASKED_AS = {
    "unit_id": "The bike's number",
    "shop_id": "Shop",
    "fleet_id": "Fleet",
    "model_code": "Model",
    "label": "Plate or fleet number",
    "sensor_id": "The sensor's own number",
    "part_no": "Part number",
    "odometer_km": "Odometer",
    "action": "What was done",
    "fitted_km": "Odometer when fitted",
    "failed_km": "Odometer when it failed",
    "gives_to": "May give parts to",
    "takes_from": "May take parts from",
}


def saved(save: Callable[[], object]) -> bool:
    """Run a form's save; where it is refused, say why and return False. Nothing was saved then."""
    try:
        save()
    except EntryError as error:
        not_saved([said(trouble) for trouble in error.troubles])
    except HomeError as error:
        not_saved([str(error)])
    else:
        return True
    return False


def not_saved(reasons: list[str]) -> None:
    """Say that nothing was saved, and why."""
    head = tag("p", tag("strong", "Nothing was saved."))
    st.html(tag("div", joined([head, bullets(reasons)]), class_="wa-waits", role="alert"))


def said(trouble: Trouble) -> str:
    """One trouble in plain words, its column as the forms call it."""
    words = str(trouble)
    name = trouble.column
    called = ASKED_AS.get(name) or name.replace("_", " ").capitalize()
    return words.replace(name, called, 1) if name else words


def say_once(key: str) -> None:
    """Show what the last save left to be said under ``key``, one time."""
    words = st.session_state.pop(key, "")
    if words:
        st.html(tag("p", words, role="status", class_="wa-said"))


def begin_anew(*keys: str, where: str) -> None:
    """Empty the fields of a form whose last save (``where``) succeeded, before they are drawn.

    They are set to a blank rather than forgotten: of a field that is only forgotten the browser
    goes on showing, and at the next press sends, what was typed before.
    """
    if st.session_state.pop(where, False):
        for key in keys:
            if key in st.session_state:
                several = isinstance(st.session_state[key], list)
                st.session_state[key] = [] if several else None
