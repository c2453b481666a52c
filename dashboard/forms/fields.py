"""Fields for the contract's columns: a widget for each kind of value, blank at first.

What a field gives is a cell as the intake reads it: text, or None for a blank.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, datetime, time

import streamlit as st

from dashboard.words import MILE_KM, distance_unit, plain
from pipeline.intake.contract import TABLES, Field
from pipeline.intake.read_rows import expected
from pipeline.intake.settings.shown_settings import MILES

NOT_SAID = "not recorded"
#: Digits after the point by unit, as a workshop meter shows them.
_FORMATS = {"V": "%.3f", "ohm": "%.1f", "%": "%.1f", "km": "%.0f", "°C": "%.0f", "h": "%.2f"}
#: Up to this many words stand side by side, more fold into a list.
SIDE_BY_SIDE = 3
WIDTH = 300


def declared(table: str, name: str) -> Field:
    """The contract's declaration of a column."""
    return next(field for field in TABLES[table].fields if field.name == name)


def ask(
    table: str,
    name: str,
    label: str,
    *,
    key: str,
    words: Mapping[str, str] | None = None,
    only: tuple[str, ...] | None = None,
    on_change: object = "rerun",
) -> str | None:
    """Show one column's widget; its cell, None while blank.

    Parameters
    ----------
    table, name : str
        The column.
    label : str
        What stands above the widget; the unit is put behind it.
    key : str
        The widget's key; its value stands in the session's state under it.
    words : mapping, optional
        Coded words as people say them.
    only : tuple of str, optional
        Those of the column's words that can be chosen here.
    on_change : callable or str
        What a change does; in a form it must be ``"rerun"``.
    """
    field = declared(table, name)
    unit = distance_unit() if field.unit == "km" else field.unit
    named = f"{label}, {unit}" if unit else label
    if field.kind == "word":
        value = _choice(only or field.words, named, key, words or {})
    elif field.kind in ("number", "whole"):
        whole = field.kind == "whole"
        value = st.number_input(
            named,
            value=None,
            key=key,
            format="%d" if whole else _FORMATS.get(field.unit, "%.2f"),
            step=1 if whole else 0.001,
            placeholder="blank: not known",
            width=WIDTH,
        )
    elif field.kind == "date":
        value = st.date_input(named, value=None, key=key, format="YYYY-MM-DD", width=WIDTH)
    else:
        value = st.text_input(named, key=key, autocomplete="off", width=WIDTH)
    return as_cell(table, name, value)


def _choice(options: tuple[str, ...], label: str, key: str, words: Mapping[str, str]) -> str | None:
    def shown(option: str) -> str:
        return words.get(option, plain(option))

    if len(options) <= SIDE_BY_SIDE:  # a second press takes the choice back
        return st.pills(label, options, key=key, format_func=shown)
    return st.selectbox(
        label,
        options,
        index=None,
        key=key,
        format_func=shown,
        placeholder=NOT_SAID,
        width=WIDTH,
    )


def as_cell(table: str, name: str, value: object) -> str | None:
    """A widget's value as a cell of a column; None for a blank. Miles typed are kept as km."""
    if value is None or value == "":
        return None
    if isinstance(value, str):
        return value.strip() or None
    if isinstance(value, date):
        return value.isoformat()
    field = declared(table, name)
    if field.kind == "whole":
        return str(int(value))  # type: ignore[call-overload] - a number by the column's kind
    if field.unit == "km" and distance_unit() == MILES:
        return f"{round(value * MILE_KM, 1):.9g}"
    return f"{value:.9g}"


def out_of_bounds(table: str, name: str, value: str | None) -> str | None:
    """What is wrong with a number by the contract's bounds, in words; None where nothing is."""
    field = declared(table, name)
    if value is None or field.low is None or field.high is None:
        return None
    if field.low <= float(value) <= field.high:
        return None
    unit = f" {field.unit}" if field.unit else ""
    return f"{value}{unit} cannot be saved: expected {expected(field)}."


def moment_cell(day: date | None, clock: time | None) -> str | None:
    """A day and a time of day as the contract's moment, with this machine's offset then."""
    if day is None or clock is None:
        return None
    return datetime.combine(day, clock).astimezone().isoformat(timespec="seconds")
