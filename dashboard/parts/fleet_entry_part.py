"""The forms of the fleet's page: windows in which bikes are free, and bikes out of service."""

from __future__ import annotations

from datetime import date

import pandas as pd
import streamlit as st

from dashboard import records
from dashboard.forms.entry_troubles import begin_anew, saved, say_once
from dashboard.markup import tag
from dashboard.wording.fleet_words import (
    NOT_IN_PLAN,
    OUT_MEANS,
    WINDOWS_MEAN,
    bike_words,
    window_words,
)
from dashboard.words import counted, day
from pipeline.access.entered.standing import standing_rows
from pipeline.access.fleet_view import window_key
from pipeline.intake.typed.fleet_entries import (
    bring_back,
    save_windows,
    take_back_windows,
    take_out_of_service,
)

_WINDOW = ("window_bikes", "window_from", "window_to")
_BACK = ("back_windows", "back_reason")
_OUT = ("out_bike", "in_bike")


def window_part(shown: records.Shown, bikes: pd.DataFrame, windows: pd.DataFrame) -> None:
    """Folds to put windows in and to take them back: FLEET_BIKES and FLEET_WINDOWS as filtered."""
    say_once("window_saved")
    fold = st.expander("Put in when bikes can be spared", key="window_fold", on_change="rerun")
    if fold.open:
        with fold:
            begin_anew(*_WINDOW, where="window_done")
            _window_form(shown, bikes)
    ours = windows[windows["state"].ne("taken_back")]
    if ours.empty:
        return
    fold = st.expander("Take windows back", key="back_fold", on_change="rerun")
    if fold.open:
        with fold:
            begin_anew(*_BACK, where="back_done")
            _back_form(shown, ours)


def _window_form(shown: records.Shown, bikes: pd.DataFrame) -> None:
    st.html(tag("p", WINDOWS_MEAN, class_="wa-quiet"))
    named = {row["unit_id"]: bike_words(row) for row in bikes.to_dict("records")}
    with st.form("window_form", border=False):
        chosen = st.multiselect(
            "Bikes",
            list(named),
            format_func=lambda unit: named.get(unit, unit),
            key="window_bikes",
            placeholder="Choose one or more",
        )
        with st.container(horizontal=True):
            free_from = _day("First free day", "window_from")
            free_to = _day("Last free day", "window_to")
        pressed = st.form_submit_button("Save the window", key="window_save")
    if pressed and saved(
        lambda: save_windows(shown.home, chosen, free_from, free_to, asker=shown.asker)
    ):
        told = (
            f"Saved: {counted(len(chosen), 'bike')} free from {day(free_from)} to {day(free_to)}, "
            f"{NOT_IN_PLAN}."
        )
        _anew("window", told)


def _back_form(shown: records.Shown, windows: pd.DataFrame) -> None:
    named = {window_key(row): window_words(row) for row in windows.to_dict("records")}
    with st.form("back_form", border=False):
        chosen = st.multiselect(
            "Windows",
            list(named),
            format_func=lambda key: named.get(key, key),
            key="back_windows",
            placeholder="Choose one or more",
        )
        reason = st.text_input("Reason", key="back_reason", autocomplete="off")
        pressed = st.form_submit_button("Take these windows back", key="back_save")
    if pressed and saved(
        lambda: take_back_windows(shown.home, chosen, reason or "", asker=shown.asker)
    ):
        many = counted(len(chosen), "window")
        st.session_state["window_saved"] = f"Saved: {many} taken back."
        st.session_state["back_done"] = True
        st.rerun()


def service_part(shown: records.Shown, bikes: pd.DataFrame, today: date) -> None:
    """A fold to take a bike out of service or bring it back: FLEET_BIKES as filtered."""
    say_once("out_saved")
    fold = st.expander("Take a bike out of service, or back", key="out_fold", on_change="rerun")
    if not fold.open:
        return
    with fold:
        begin_anew(*_OUT, where="out_done")
        out_now = bikes["typed_out_on"].notna() | (bikes["out_of_service"] & ~bikes["typed_back"])
        way = st.radio(
            "What happened",
            ["out", "back"],
            format_func={
                "out": "Left service",
                "back": "Back in service",
            }.__getitem__,
            key="out_way",
            horizontal=True,
        )
        if way == "out":
            _out_form(shown, bikes[~out_now.astype(bool)], today)
        else:
            _back_in_form(shown, bikes[out_now.astype(bool)])


def _out_form(shown: records.Shown, bikes: pd.DataFrame, today: date) -> None:
    st.html(tag("p", OUT_MEANS, class_="wa-quiet"))
    with st.form("out_form", border=False):
        unit_id = _bike(bikes, "out_bike")
        out_on = _day("Out of service since", "out_on", today)
        pressed = st.form_submit_button("Save", key="out_save")
    if pressed and saved(
        lambda: take_out_of_service(shown.home, _unit(shown, unit_id), out_on, asker=shown.asker)
    ):
        _anew("out", f"Saved: out of service since {day(out_on)}, {NOT_IN_PLAN}.")


def _back_in_form(shown: records.Shown, bikes: pd.DataFrame) -> None:
    if bikes.empty:
        st.html(tag("p", "No bike here is out of service.", class_="wa-quiet"))
        return
    with st.form("in_form", border=False):
        unit_id = _bike(bikes, "in_bike")
        pressed = st.form_submit_button("Save", key="in_save")
    if pressed and saved(lambda: bring_back(shown.home, _unit(shown, unit_id), asker=shown.asker)):
        _anew("out", f"Saved: back in service, {NOT_IN_PLAN}.")


def _unit(shown: records.Shown, unit_id: str | None) -> dict[str, str] | None:
    """The bike's row as it stands, all cells of it."""
    return (
        standing_rows(shown.home, shown.asker, "units", [unit_id]).get(unit_id) if unit_id else None
    )


def _bike(bikes: pd.DataFrame, key: str) -> str | None:
    named = {row["unit_id"]: bike_words(row) for row in bikes.to_dict("records")}
    return st.selectbox(
        "Bike",
        list(named),
        index=None,
        format_func=lambda unit: named.get(unit, unit),
        key=key,
        placeholder="Choose a bike",
        width=500,
    )


def _day(label: str, key: str, value: date | None = None) -> date | None:
    return st.date_input(label, value=value, key=key, format="YYYY-MM-DD", width=260)


def _anew(form: str, told: str) -> None:
    st.session_state[f"{form}_saved"], st.session_state[f"{form}_done"] = told, True
    st.rerun()
