"""The worklist's form of answers: choose sensors, then accept, put off or overrule."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, timedelta

import pandas as pd
import streamlit as st

from dashboard import records
from dashboard.forms.entry_troubles import begin_anew, saved, say_once
from dashboard.markup import tag
from dashboard.wording.answer_words import KINDS, MEANING, choice_words, floor_counted, saved_words
from dashboard.words import counted
from pipeline.access.worklist_view import MOST_OFFERED
from pipeline.intake.typed.advice_answers import Answer, save_answers

_FIELDS = ("answer_sensors", "answer_kind", "answer_until", "answer_reason", "answer_by")


def answer_part(shown: records.Shown, offered: Callable[[], pd.DataFrame], found: int) -> None:
    """A fold with the form, for the sensors that the filters let through.

    ``offered`` reads the first of them once the fold is open (WORKLIST_OFFERED); ``found`` counts
    them all.
    """
    say_once("answer_saved")
    fold = st.expander("Answer the advice on some of these", key="answer_fold", on_change="rerun")
    if not fold.open:
        return
    with fold:
        begin_anew(*_FIELDS, where="answer_done")
        st.html(tag("p", MEANING, class_="wa-quiet"))
        chosen = _chosen(offered(), found)
        kind = st.radio(
            "Your answer",
            list(KINDS),
            format_func=KINDS.__getitem__,
            key="answer_kind",
            horizontal=True,
        )
        above = int(chosen["above_floor"].fillna(False).sum())
        warned = floor_counted(above, len(chosen)) if kind != "accept" else ""
        if warned:
            st.html(tag("p", warned, class_="wa-said wa-care", role="status"))
        _form(shown, chosen, kind)


def _chosen(offered: pd.DataFrame, found: int) -> pd.DataFrame:
    named = {row["sensor_id"]: choice_words(row) for row in offered.to_dict("records")}
    more = f", the first {MOST_OFFERED} of {found:,}: filters above bring up others"
    chosen = st.multiselect(
        f"Sensors{more if found > MOST_OFFERED else ''}",
        list(named),
        format_func=lambda sensor: named.get(sensor, sensor),
        key="answer_sensors",
        placeholder="Choose one or more",
    )
    return offered[offered["sensor_id"].isin(chosen)]


def _form(shown: records.Shown, chosen: pd.DataFrame, kind: str) -> None:
    until, reason = None, ""
    with st.form("answer_form", border=False):
        if kind == "put_off":
            until = st.date_input(
                "Put off until",
                value=None,
                min_value=date.today() + timedelta(days=1),
                key="answer_until",
                format="YYYY-MM-DD",
                width=340,
            )
        if kind != "accept":
            reason = st.text_input("Reason", key="answer_reason")
        by = st.text_input("Who answers (may be left blank)", key="answer_by", width=340)
        many = counted(len(chosen), "sensor") if len(chosen) else "the chosen sensors"
        pressed = st.form_submit_button(f"Save the answer for {many}", key="answer_save")
    if not pressed:
        return
    advised = list(chosen[["sensor_id", "action"]].itertuples(index=False, name=None))
    answer = Answer(kind, until, reason or "", by or "")
    if saved(lambda: save_answers(shown.home, advised, answer, asker=shown.asker)):
        st.session_state["answer_saved"] = saved_words(kind, len(chosen))
        st.session_state["answer_done"] = True
        st.rerun()
