"""Columns that go by other names in a shop's files: asked once, remembered, and changed here."""

from __future__ import annotations

import pandas as pd
import streamlit as st

from dashboard import records, surround
from dashboard.forms.entry_troubles import not_saved, say_once
from dashboard.markup import table, tag
from dashboard.wording.hand_in_words import TABLE_NAMES, stands_for
from pipeline.home import HomeError
from pipeline.intake.check_files import FilesCheck
from pipeline.intake.column_names import (
    LEFT_OUT,
    forget_column_names,
    likely_name,
    read_column_names,
    remember_column_names,
)
from pipeline.intake.contract import TABLES

_SAID = "column_names_said"
_FORGET = "ask again"


def ask_for_names(shown: records.Shown, check: FilesCheck) -> None:
    """Ask what columns of which nothing is known stand for, table by table."""
    say_once(_SAID)
    for name in dict.fromkeys(file.table for file in check.ready):
        files = [file for file in check.ready if file.table == name]
        asked = list(dict.fromkeys(column for file in files for column in file.asked))
        lacking = set.union(*(set(file.lacking) for file in files))
        if asked and lacking:
            _ask(shown, name, asked, [n for n in TABLES[name].names if n in lacking])


def _ask(shown: records.Shown, name: str, asked: list[str], offered: list[str]) -> None:
    with st.form(f"names_{name}"):
        head = f"{TABLE_NAMES[name]}: what do these columns stand for?"
        said = "Asked once: the answer is remembered for files to come, and can be changed below."
        st.html(tag("p", tag("strong", head), " ", said))
        chosen = {}
        for column in asked:
            options = [LEFT_OUT, *offered]
            likely = likely_name(column, TABLES[name])
            chosen[column] = st.selectbox(
                f"“{column}”",
                options,
                index=options.index(likely) if likely in options else 0,
                format_func=lambda ours: stands_for(name, ours),
                key=f"name_{name}_{column}",
                width=480,
            )
        if st.form_submit_button("Remember these names", key=f"names_set_{name}"):
            _remember(shown, name, chosen)


def _remember(shown: records.Shown, name: str, chosen: dict[str, str]) -> None:
    given = [ours for ours in chosen.values() if ours != LEFT_OUT]
    twice = sorted({ours for ours in given if given.count(ours) > 1})
    if twice:
        not_saved([f"More than one column is to stand for {', '.join(twice)}; one can."])
        return
    try:
        remember_column_names(shown.home, name, chosen, asker=shown.asker)
    except (HomeError, ValueError) as error:
        not_saved([str(error)])
        return
    st.session_state[_SAID] = f"Names of {TABLE_NAMES[name].lower()} remembered."
    st.rerun()


def remembered_names(shown: records.Shown) -> None:
    """What is remembered, each name to be changed or forgotten."""
    surround.heading("Names of columns")
    known = read_column_names(shown.home, shown.asker)
    pairs = [(name, theirs, ours) for name, of in known.items() for theirs, ours in of.items()]
    if not pairs:
        surround.nothing(
            "No other names are remembered. Where a file has columns under names of its own, this "
            "page asks once what they stand for."
        )
        return
    fold = st.expander(f"Remembered: {len(pairs)}", key="names_fold", on_change="rerun")
    if fold.open:
        with fold:
            _listed(pairs)
            _change(shown, pairs)


def _listed(pairs: list[tuple[str, str, str]]) -> None:
    rows = pd.DataFrame(pairs, columns=["table", "theirs", "ours"])
    columns = {
        "Rows of": lambda row: TABLE_NAMES[row["table"]],
        "In your files": "theirs",
        "Stands for": lambda row: stands_for(row["table"], row["ours"]),
    }
    st.html(table(rows, columns, "Files handed in before keep the names of their day."))


def _change(shown: records.Shown, pairs: list[tuple[str, str, str]]) -> None:
    words = [f"{TABLE_NAMES[name]}: {theirs}" for name, theirs, _ in pairs]
    at = st.selectbox("Change", range(len(pairs)), format_func=words.__getitem__, key="names_at")
    name, theirs, ours = pairs[at]
    with st.form("names_change", border=False):
        options = [LEFT_OUT, *TABLES[name].names, _FORGET]
        chosen = st.selectbox(
            f"“{theirs}” stands for",
            options,
            index=options.index(ours),
            format_func=lambda word: word if word == _FORGET else stands_for(name, word),
            key=f"names_new_{name}_{theirs}",
            width=480,
        )
        if st.form_submit_button("Change it", key="names_change_set"):
            if chosen == _FORGET:
                forget_column_names(shown.home, name, [theirs], asker=shown.asker)
            else:
                remember_column_names(shown.home, name, {theirs: chosen}, asker=shown.asker)
            st.session_state[_SAID] = "Changed for files to come."
            st.rerun()
