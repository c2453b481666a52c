"""Answers to advice on the worklist: chosen, saved, refused, and shown at once."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path

import pandas as pd
import pytest
from streamlit.testing.v1 import AppTest

import dashboard
from dashboard.parts.sensor_list import sensor_list
from dashboard.sieve import Sieve, asked_of
from dashboard.wording.answer_words import (
    FLOOR,
    answer_head,
    answer_rest,
    floor_counted,
    floor_words,
)
from pipeline.access import views, worklist_view
from pipeline.access.entered.pending import pending_rows
from pipeline.access.worklist_view import leaf_from
from pipeline.home import HomeError, own_home
from pipeline.intake.receive import last_hand_in
from tests.askers import HERE
from tests.dashboard import fake_views as fakes
from tests.dashboard.fake_trust import trust_view

APP = Path(dashboard.__file__).with_name("app.py")
LATER = date.today() + timedelta(days=20)


def rows(**values) -> pd.DataFrame:
    return fakes.rows(
        views.schemas.WORKLIST,
        2,
        sensor_id=["S-000", "S-001"],
        action=["replace", "leave"],
        answer_pending=False,
        **({"answer": None, "above_floor": False} | values),
    )


ANSWERED = {
    "answer": ["put_off", None],
    "answered_on": pd.Timestamp("2026-05-20"),
    "answer_to": "replace",
    "answer_until": pd.Timestamp("2026-07-01"),
    "answer_reason": "<b>part not here yet",
    "answered_by": "Ada",
}


@pytest.fixture
def app(monkeypatch, tmp_path) -> AppTest:
    monkeypatch.setenv("WEAR_ATLAS_HOME", str(tmp_path))
    monkeypatch.setattr(views, "current_version", lambda home: 1)
    frame = fakes.worklist_rows().assign(above_floor=[True, False, pd.NA, False])
    frame = views.schemas.WORKLIST.check(frame)
    fakes.show_worklist(monkeypatch, frame)
    found = AppTest.from_file(str(APP), default_timeout=20)
    found.session_state["answer_fold"] = True
    found.run()
    assert not found.exception
    return found


def text_of(app: AppTest) -> str:
    bodies = [element.proto.body for element in app.get("html")]
    return "\n".join(body for body in bodies if "<style>" not in body)


def kept() -> dict:
    return pending_rows(own_home(), HERE, "advice_answers")["advice_answers"]


def test_an_answer_stands_with_its_date_reason_and_name_and_never_becomes_leave():
    row = rows(**ANSWERED).to_dict("records")[0]
    assert answer_head(row) == "Put off until 2026-07-01"
    assert answer_rest(row) == ": <b>part not here yet. Answered on 2026-05-20 by Ada."
    html = sensor_list(rows(**ANSWERED))
    assert "wa-replace" in html
    assert "<strong>Put off until 2026-07-01</strong>: &lt;b&gt;part not here yet" in html


@pytest.mark.parametrize(
    ("answer", "above", "said"),
    [
        ("put_off", True, True),
        ("overrule", True, True),
        ("accept", True, False),
        ("put_off", False, False),
        ("overrule", None, False),
    ],
)
def test_above_the_floor_an_answer_against_the_advice_says_so_plainly(answer, above, said):
    row = rows(**ANSWERED | {"answer": answer, "above_floor": above}).to_dict("records")[0]
    assert floor_words(row) == (FLOOR if said else "")


def test_an_answer_to_other_advice_or_not_yet_in_the_records_says_that_too():
    row = rows(**ANSWERED | {"answer_to": "test"}).to_dict("records")[0]
    assert "The advice was “Test” then." in answer_rest(row)
    assert "not in the records" in answer_rest(row | {"answer_pending": True})


def test_the_list_can_be_narrowed_to_what_was_put_off_or_not_answered():
    frame = rows(**ANSWERED)
    warehouse = fakes.warehouse_of(frame)
    off, none = Sieve(answers=("Put off",)), Sieve(answers=("No answer",))
    for answered, sensor in ((off, "S-000"), (none, "S-001")):
        leaf = leaf_from(warehouse, asked_of(answered, frame), 1, {})
        assert (leaf.rows["sensor_id"].tolist(), leaf.found) == ([sensor], 1)
    assert off.chosen
    assert replace(off, answers=()).chosen is False


def test_the_form_is_drawn_only_once_opened(app):
    app.session_state["answer_fold"] = False
    app.run()
    assert "answer_sensors" not in [widget.key for widget in app.multiselect]


def test_several_sensors_are_accepted_at_once_and_show_it_without_a_build(app):
    app.multiselect(key="answer_sensors").select("S-000").select("S-001")
    app.text_input(key="answer_by").input("Ada")
    app.run()
    app.button(key="answer_save").click().run()
    assert not app.exception
    assert {c["sensor_id"]: c["advised_action"] for c in kept().values()} == {
        "S-000": "replace",
        "S-001": "test",
    }
    text = text_of(app)
    assert "Saved: accepted for 2 sensors." in text
    assert text.count("<strong>Accepted</strong>") == 2
    assert "not in the records of the plans yet" in text
    assert app.multiselect(key="answer_sensors").value == []
    assert "Saved:" not in text_of(app.run())


def test_rows_are_read_once_until_the_next_answer(app, monkeypatch):
    laid, read = [], worklist_view.worklist_leaf
    monkeypatch.setattr(
        worklist_view,
        "worklist_leaf",
        lambda *of: laid.append(last_hand_in(of[0])) or read(*of),
    )
    app.run()
    app.multiselect(key="answer_sensors").select("S-000")
    app.run()
    app.button(key="answer_save").click().run()
    app.run()
    app.run()
    assert laid == [1]  # before the first answer they stood as they are since the page was opened
    assert "not in the records" in text_of(app)


def test_an_answer_just_given_counts_where_the_list_is_narrowed_by_it(app):
    app.multiselect(key="answer_sensors").select("S-000").run()
    app.button(key="answer_save").click().run()
    app.multiselect(key="answer").select("Accepted").run()
    assert "1 of 4 sensors match." in text_of(app)
    assert text_of(app).count('class="wa-bike"') == 1
    app.multiselect(key="answer").set_value(["No answer"]).run()
    assert "3 of 4 sensors match." in text_of(app)


def test_what_is_offered_is_read_only_once_the_form_is_open(app, monkeypatch):
    read = []
    offered = worklist_view.worklist_offered
    monkeypatch.setattr(
        worklist_view, "worklist_offered", lambda *of: read.append(of) or offered(*of)
    )
    app.session_state["answer_fold"] = False
    app.text_input(key="find").input("bike").run()
    assert not read
    app.session_state["answer_fold"] = True
    app.run()
    assert len(read) == 1


def test_putting_off_needs_a_date_and_a_reason_and_keeps_what_was_typed(app):
    app.multiselect(key="answer_sensors").select("S-001")
    app.radio(key="answer_kind").set_value("put_off").run()
    app.text_input(key="answer_by").input("Ada")
    app.button(key="answer_save").click().run()
    text = text_of(app)
    assert "Nothing was saved." in text
    assert "Reason: blank; expected a reason" in text
    assert "Until: expected a date after today" in text
    assert last_hand_in(own_home()) == 0
    assert app.text_input(key="answer_by").value == "Ada"
    app.text_input(key="answer_reason").input("the bike is on tour")
    app.date_input(key="answer_until").set_value(LATER)
    app.button(key="answer_save").click().run()
    (cells,) = kept().values()
    assert (cells["answer"], cells["until"]) == ("put_off", LATER.isoformat())
    assert f"<strong>Put off until {LATER.isoformat()}</strong>" in text_of(app)


def test_overruling_above_the_floor_is_possible_and_warned_of(app):
    app.multiselect(key="answer_sensors").select("S-000").run()
    assert "set floor" not in text_of(app)
    app.radio(key="answer_kind").set_value("overrule").run()
    assert floor_counted(1, 1) in text_of(app)
    app.text_input(key="answer_reason").input("the lead was at fault")
    app.button(key="answer_save").click().run()
    text = text_of(app)
    assert "<strong>Overruled</strong>: the lead was at fault." in text
    assert FLOOR in text
    assert text.count("wa-action wa-leave") == 2  # the tally, and the one row that was so before


def test_without_a_sensor_nothing_is_saved(app):
    app.button(key="answer_save").click().run()
    assert "none is chosen" in text_of(app)
    assert last_hand_in(own_home()) == 0


def test_a_home_that_cannot_be_written_is_said(app, monkeypatch):
    def refuse(*args, **kwargs):
        raise HomeError("The data home cannot be written: disk full.")

    monkeypatch.setattr("dashboard.parts.answer_part.save_answers", refuse)
    app.multiselect(key="answer_sensors").select("S-000").run()
    app.button(key="answer_save").click().run()
    assert "disk full" in text_of(app)


def test_another_filter_leaves_no_sensor_chosen_that_is_not_shown(app):
    app.multiselect(key="answer_sensors").select("S-000").run()
    app.text_input(key="find").input("bike 2").run()
    assert not app.exception
    app.button(key="answer_save").click().run()
    assert "none is chosen" in text_of(app)


def test_an_answer_just_saved_is_said_where_answers_are_counted(app, monkeypatch):
    monkeypatch.setattr(views, "trust_view", lambda home, asker: trust_view())
    said = "given since these records were built"
    app.multiselect(key="answer_sensors").select("S-000").run()
    app.button(key="answer_save").click().run()
    app.switch_page("pages/trust.py").run()
    assert not app.exception
    assert f"1 answer {said} stands on the worklist" in text_of(app)
