"""The page of costs and levels in each of its states, on a made-up base."""

from __future__ import annotations

from dataclasses import replace

import pytest

from models.plans.settings import PlanSettings
from pipeline.access import views, what_if
from pipeline.home import Home
from pipeline.intake.settings.settings_file import read_settings
from tests.dashboard.fake_views import HOSTILE
from tests.dashboard.fake_what_if import what_if_base
from tests.dashboard.test_pages import opened, text_of

KINDS = ("number_input", "text_input", "selectbox", "multiselect")


@pytest.fixture(autouse=True)
def records(monkeypatch, tmp_path):
    monkeypatch.setenv("WEAR_ATLAS_HOME", str(tmp_path))
    monkeypatch.setattr(views, "current_version", lambda home: 1)
    monkeypatch.setattr(what_if, "what_if_base", lambda home, asker: what_if_base())
    return monkeypatch


def test_as_built_nothing_changes():
    text = text_of(opened("costs"))
    assert "the advice for all 4 sensors in service is as on the worklist" in text
    assert "if the advice is followed" in text
    assert "not a saving that was made; it counts no injury" in text
    assert "estimated to save 300 ¤ against planning nothing; 2 fits of the model" in text
    assert "give 150 ¤ to 510 ¤" in text
    assert "Before any work on a bike" in text


def test_every_setting_has_a_field_with_its_unit_and_its_assumed_default():
    app = opened("costs")
    fields = {f.key: f for kind in KINDS for f in app.get(kind)}
    assert {f"set_{name}" for name in what_if.SETTINGS} <= set(fields)
    field = fields["set_labour_cost_per_hour"]
    assert field.label == "An hour of labour (money/h)"
    assert field.help == "Assumed default: 70.0."


def test_moving_a_cost_shows_what_changes_at_once():
    app = opened("costs")
    app.number_input(key="set_test_above").set_value(0.05)
    app.run()
    assert not app.exception
    text = text_of(app)
    assert "With these settings 1 of 4 sensors in service gets other advice" in text
    assert "Sensors that would get other advice." in text
    assert HOSTILE not in text


def test_the_plan_of_checks_is_worked_out_anew():
    app = opened("costs")
    assert "would be planned" in text_of(app)
    app.number_input(key="set_check_share_of_bay_hours").set_value(0.0)
    app.run()
    text = text_of(app)
    assert "0 visits would be planned instead of 1" in text
    assert "Visits in the next 6 weeks." in text


def test_levels_that_cannot_stand_together_are_said():
    app = opened("costs")
    app.number_input(key="set_replace_above").set_value(0.05)
    app.run()
    assert "test_above (0.1) must not exceed replace_above (0.05)" in text_of(app)


def test_settings_can_be_kept(tmp_path):
    app = opened("costs")
    app.number_input(key="set_road_failure_cost").set_value(900.0)
    app.button(key="keep_settings").click()
    app.run()
    assert "Kept in settings.toml." in text_of(app)
    assert read_settings(Home(tmp_path)).settings == PlanSettings(road_failure_cost=900.0)


def test_a_value_that_is_refused_later_does_not_stand_beside_what_was_kept():
    app = opened("costs")
    app.button(key="keep_settings").click()
    app.run()
    assert "Kept in settings.toml." in text_of(app)
    app.number_input(key="set_review_days").set_value(0)
    app.run()
    text = text_of(app)
    assert "Kept" not in text
    assert "“days from one ordering to the next”: expected a whole number from 1 to 90" in text


def test_working_and_closed_days_are_weighed_and_kept(tmp_path):
    app = opened("costs")
    app.multiselect(key="set_working_days").set_value(["Saturday", "Monday"])
    app.text_input(key="set_closed_days").set_value("2026-12-26, 2026-12-25")
    app.selectbox(key="set_private_not_known").set_value("wait")
    app.button(key="keep_settings").click()
    app.run()
    assert not app.exception
    kept = read_settings(Home(tmp_path)).settings
    assert kept.working_days == "Monday, Saturday"
    assert kept.closed_days == "2026-12-25, 2026-12-26"
    assert kept.private_not_known == "wait"


def test_a_closed_day_that_is_no_date_is_named_by_its_field():
    app = opened("costs")
    app.text_input(key="set_closed_days").set_value("25 December")
    app.run()
    text = text_of(app)
    assert "“days on which shops are closed all the same, such as holidays”: expected dates" in text


def test_a_file_changed_since_the_build_and_its_mistakes_are_told(records):
    base = what_if_base(
        in_file=replace(PlanSettings(), test_hours=1.0),
        problems=("settings.toml, line 3: <b>labour</b> is -3",),
    )
    records.setattr(what_if, "what_if_base", lambda home, asker: base)
    app = opened("costs")
    text = text_of(app)
    assert "have been changed since these records were built" in text
    assert "line 3: &lt;b&gt;labour&lt;/b&gt; is -3" in text
    assert app.number_input(key="set_test_hours").value == 1.0
