"""One bench test: cautions, readings in order of reasoning, the sweep and what it could miss."""

from __future__ import annotations

from functools import partial

import pandas as pd
import streamlit as st

from dashboard import records, surround
from dashboard.charts.wear_sensor import sensor_chart, sensor_reading
from dashboard.markup import Html, bullets, facts, fold, joined, table, tag, to_bike
from dashboard.parts import sweep_part
from dashboard.parts.bench_list import bench_list
from dashboard.parts.file_names import stem
from dashboard.parts.job_sheet_part import show_job_sheet
from dashboard.parts.set_aside_list import show_set_aside
from dashboard.parts.show_chart import show_chart
from dashboard.parts.state_mark import state_mark
from dashboard.parts.to_work import to_job
from dashboard.parts.wear_part import TRACK_COLUMNS, track_of_test
from dashboard.put import put, together
from dashboard.sieve import csv
from dashboard.wording.pending_words import NOT_HELD_YET, taken_up_words
from dashboard.wording.session_words import session_facts
from dashboard.wording.verdict_words import rule_verdict, technician_verdict
from dashboard.words import READINGS, good_range, known, moment, plain
from pipeline.access.views import SessionView
from pipeline.access.wear_view import TestWear

TESTS_DRAWN = 3
NOTE_SHOWN = 800  # letters; a longer note opens on a press


def show(shown: records.Shown) -> None:
    """Draw the page of the test named in the address."""
    session_id = st.query_params.get("session", "")
    if not session_id:
        surround.not_there("The address names no test: it ends in “?session=” and its number.")
        return
    view = records.session(shown, session_id)
    with together():
        _top(view)
        _not_in_records(shown, view)
        surround.show_cautions(whole=True)
        _verdicts(view)
        _next(view.next_look)
        _to_job(view.session)
    job_sheet = st.container(key="job_sheet")
    draw_over_travel = sweep_part.show_sweep(shown, view)
    with job_sheet:
        show_job_sheet(shown, view)
    _wear(view)
    with together():
        _static(view.checks)
        _earlier(view.earlier)
    show_set_aside(view.set_aside, of="for this test or its bike")
    _take_away(view)
    draw_over_travel()


def _top(view: SessionView) -> None:
    test = view.session
    st.set_page_config(page_title=f"Bench test {test['session_id']}: Wear Atlas")
    bike = to_bike(test["unit_id"], f"Bike {test['label']}")
    surround.top_line(surround.worklist_link(), bike, f"Test {test['session_id']}")
    surround.which_records(view.edition)
    parts = moment(test["tested_at"]).split(" ")  # on a phone, day and hour may stand apart
    title = joined(["Bench test of ", *(tag("span", f"{part} ", class_="wa-id") for part in parts)])
    whole = facts(session_facts(test)).replace('class="wa-facts"', 'class="wa-facts wa-across"')
    as_of = surround.records_as_of(view.edition)
    put(joined([tag("h1", title), Html(whole), tag("p", as_of, class_="wa-quiet")]))


def _to_job(test: dict) -> None:
    to = to_job(test["unit_id"], test["sensor_id"], test["session_id"])
    if to:
        put(tag("p", to))


def _not_in_records(shown: records.Shown, view: SessionView) -> None:
    """A test entered since the last build: what does not hold it yet, and when that will."""
    if view.in_records:
        return
    said = [
        tag("p", tag("strong", "Just entered. "), NOT_HELD_YET),
        tag("p", taken_up_words(records.waits(shown.home, shown.asker))),
    ]
    put(tag("div", *said, class_="wa-said", role="status"))


def _verdicts(view: SessionView) -> None:
    surround.heading("What this test says")
    rule_word, rule_why = rule_verdict(view.measures, view.checks)
    own_word, own_why = technician_verdict(view.session, view.measures)
    put(
        tag(
            "div",
            tag(
                "div", tag("h3", "By rule"), tag("p", rule_word, class_="wa-big"), bullets(rule_why)
            ),
            tag(
                "div",
                tag("h3", "By the technician"),
                tag("p", own_word, class_="wa-big"),
                bullets(own_why),
                _note(view.session),
            ),
            class_="wa-two",
        )
    )


def _note(test: dict) -> Html:
    """The note; a long one is cut, and whole below."""
    if not known(test["note"]):
        return tag("p", "No note.")
    note = str(test["note"])
    if len(note) <= NOTE_SHOWN:
        return tag("p", f"Note: {note}")
    cut = tag("p", f"Note: {note[:NOTE_SHOWN]} …")
    return joined([cut, fold("The whole note", tag("p", note))])


def _next(sentences: list[str]) -> None:
    surround.heading("Where to look next")
    if not sentences:
        surround.nothing("Nothing to add.")
        return
    items = [tag("li", sentence) for sentence in sentences]
    put(tag("ol", *items))


def _wear(view: SessionView) -> None:
    surround.heading("Where this track wears")
    if not view.in_records:
        surround.nothing("Told by all tests together: shown once the records hold this test.")
        return
    _wear_in_records(view.wear)


def _wear_in_records(wear: TestWear) -> None:
    if wear.life_id is None:
        surround.nothing("This sensor has no track, or this test belongs to none of its lives.")
        return
    put(track_of_test(wear))
    if wear.profiles.empty:
        return
    # drawn only once opened: most tests need the sentences alone
    fold = st.expander("This sweep over those before it", key="track_of_test", on_change="rerun")
    if not fold.open:
        return
    with fold:
        latest = wear.profiles["session_id"].drop_duplicates().tail(TESTS_DRAWN)
        rows = wear.profiles[wear.profiles["session_id"].isin(latest)].reset_index(drop=True)
        show_chart(
            partial(sensor_chart, rows, wear.bands),
            sensor_reading(rows),
            rows,
            TRACK_COLUMNS,
            name=f"track_up_to_{latest.iloc[-1]}",
        )


def _static(checks: pd.DataFrame) -> None:
    surround.heading("Static readings, in the order of reasoning")
    if checks.empty:
        surround.nothing("No static reading was handed in with this test.")
        return
    columns = {
        "Reading": lambda r: plain(r["check"], READINGS).capitalize(),
        "Value": lambda r: _on_a_line(r["value_text"]) if known(r["value"]) else r["value_text"],
        "Good range": lambda r: _on_a_line(good_range(r, "none")),
        "Limits from": lambda r: plain(r["band_source"], {}, "none"),
        "State": state_mark,
        "In words": "text",
    }
    caption = "Supply and ground first, for every later reading is measured against them."
    put(table(checks.sort_values("step"), columns, caption))


def _on_a_line(words: str) -> Html:
    return tag("span", words, class_="wa-nowrap")


def _earlier(earlier: pd.DataFrame) -> None:
    surround.heading("Other tests of this sensor")
    if earlier.empty:
        surround.nothing("No other test of this sensor is on record.")
        return
    put(bench_list(earlier, "The latest first."))


def _take_away(view: SessionView) -> None:
    surround.heading("Save this test's tables")
    whose = stem(view.session["session_id"])
    parts = {
        "Static readings": ("static_readings", view.checks),
        "Drop-outs": ("dropouts", view.dropouts),
        "Roughness over travel": ("roughness", view.profile),
        "Trace as drawn": ("trace_as_drawn", view.trace),
    }
    with st.container(horizontal=True):
        for label, (name, rows) in parts.items():
            st.download_button(
                f"{label}, CSV",
                data=lambda rows=rows: csv(rows),
                file_name=f"{whose}_{name}.csv",
                mime="text/csv",
                key=f"take_{name}",
                on_click="ignore",
                disabled=rows.empty,
            )


if __name__ == "__main__":
    surround.page(show)
