"""Closing a job, in each state of the page."""

from __future__ import annotations

import pytest

from pipeline.access.entered.standing import standing_rows
from pipeline.access.register_view import job_view
from tests.askers import HERE
from tests.dashboard.page_app import page_at, words_of

pytestmark = pytest.mark.usefixtures("own_shop")


def _job(action: str | None = None, **query: str):
    app = page_at("job", unit="B1", **query)
    if action:
        app.selectbox(key="job_action").set_value(action)
        app.run()
    return app


def test_a_replacement_asks_for_the_part_and_saves_both_lives(own_shop):
    app = _job("sensor_replaced", session="T2")
    assert app.selectbox(key="job_test").value == "T2"
    app.selectbox(key="job_part").set_value("P2")
    app.run()
    app.number_input(key="job_odometer").set_value(29_000)
    app.button_group(key="job_confirmed").set_value("yes")
    app.button(key="job_save").click().run()
    assert "The job is closed: sensor replaced" in words_of(app)
    assert standing_rows(own_shop, HERE, "sensors", ["S1"])["S1"]["removed_reason"] == "faulty"
    (new,) = job_view(own_shop, HERE, "B1").register.sensors.values()
    assert (new["part_no"], new["fitted_km"]) == ("P2", "29000")


def test_a_repair_asks_for_no_part():
    app = _job("wiring_repaired")
    assert "The part fitted" not in words_of(app)
    assert [w.key for w in app.selectbox if w.key == "job_part"] == []


def test_a_failure_on_the_road_asks_when_it_was_noticed():
    app = _job("sensor_cleaned")
    assert "Let down on the road" not in words_of(app)
    app.button_group(key="job_on_road").set_value("yes")
    app.run()
    assert "Let down on the road" in words_of(app)
    assert app.number_input(key="job_failed_km").value is None


def test_what_is_missing_is_named_and_nothing_is_saved(own_shop):
    app = _job("sensor_replaced")
    app.button(key="job_save").click().run()
    assert "the part fitted is missing" in words_of(app)
    app = _job()
    app.button(key="job_save").click().run()
    assert "What was done: blank" in words_of(app)
    assert not standing_rows(own_shop, HERE, "sensors", ["S1"])["S1"].get("removed_on")


def test_without_a_bike_it_asks_for_one():
    assert "Close a job" in words_of(page_at("job"))
    assert "Scan the bike" in words_of(page_at("job"))


def test_the_cautions_stand_on_the_page():
    assert "Before any work on a bike" in words_of(_job())
