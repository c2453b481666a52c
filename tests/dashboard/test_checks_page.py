"""The page of checks in each of its states, on made-up views."""

from __future__ import annotations

import dataclasses

import pytest

from pipeline.access import check_plan_view, views
from tests.dashboard import fake_checks as fakes
from tests.dashboard.fake_views import HOSTILE, show_worklist
from tests.dashboard.test_pages import opened, text_of


@pytest.fixture
def shown(monkeypatch, tmp_path):
    """``shown.view`` is what the pipeline answers."""

    class Shown:
        view = fakes.check_plan_view()

    monkeypatch.setenv("WEAR_ATLAS_HOME", str(tmp_path))
    monkeypatch.setattr(views, "current_version", lambda home: 1)
    show_worklist(monkeypatch)
    monkeypatch.setattr(check_plan_view, "check_plan_view", lambda home, asker: Shown.view)
    return Shown


def test_the_first_weeks_stand_before_everything_else(shown):
    text = text_of(opened("checks"))
    places = [
        text.index(words)
        for words in (
            "4 bikes to come in.",
            "2 checks pay by themselves",
            "2 checks are owed though expected to cost 100 ¤ more than none",
            "from Monday 2026-11-02",
            "Before any work on a bike",
            "A planned day declares no bike safe until then",
            "<h2>The coming weeks</h2>",
            "<h2>Bike by bike</h2>",
            "<h2>No day found</h2>",
            "<h2>What this plan rests on</h2>",
        )
    ]
    assert places == sorted(places)


def test_each_visit_tells_what_and_why_and_what_it_costs_against_none(shown):
    text = text_of(opened("checks"))
    assert "Test sensor S-1 on the bench" in text
    assert "It is the first day open." in text
    assert ">42 ¤ less<" in text
    assert ">50 ¤ more<" in text


def test_every_plight_is_listed_with_its_cost_of_waiting(shown):
    text = text_of(opened("checks"))
    for words in (
        "No day on which the bike can be spared: 1 bike, waiting costs 115 ¤ in expectation",
        "No part there or due: 1 bike",
        "No bay hours left: 1 bike",
        "Not worth a day of its depot alone: 1 bike<",
        "Too little known to say what a check saves: 1 bike<",
    ):
        assert words in text, words
    assert "no more than a check" in text


def test_cautions_are_shown_and_no_bike_is_declared_safe(shown):
    text = text_of(opened("checks"))
    assert "declares no bike safe until then" in text
    assert "Before any work on a bike" in text


def test_record_text_is_never_markup(shown):
    text = text_of(opened("checks"))
    assert "<script>alert(1)" not in text
    assert HOSTILE not in text


def test_shop_and_fleet_choose_bikes_and_stand_in_the_address(shown):
    app = opened("checks")
    app.selectbox(key="check_shop").select("North Yard").run()
    text = text_of(app)
    assert not app.exception
    assert "2 visits" in text
    assert "South Yard, " not in text
    app.selectbox(key="check_shop").set_value(None)
    app.selectbox(key="check_fleet").select("river-fleet").run()
    assert "2 visits" in text_of(app)
    assert not app.exception


def test_the_calendar_is_drawn_and_told_in_a_sentence(shown):
    app = opened("checks")
    assert len(app.get("vega_lite_chart")) == 1
    assert "Bikes come in on 20 of 30 working days" in text_of(app)


def test_a_long_list_has_leaves(shown):
    shown.view = fakes.check_plan_view(visits=fakes.visits(60), events=fakes.events(60))
    assert "60 visits, the earliest first; 25 shown." in text_of(opened("checks"))


def test_nothing_planned_is_said_without_calling_any_bike_good(shown):
    shown.view = fakes.nothing_planned()
    text = text_of(opened("checks"))
    assert "No bike is to come in for a check in these weeks." in text
    assert "That says nothing about any bike" in text


def test_no_bike_on_record_is_said(shown):
    shown.view = fakes.no_bikes()
    assert "There is nothing to plan" in text_of(opened("checks"))


def test_weeks_in_which_every_day_is_closed_are_told_as_such(shown):
    shown.view = dataclasses.replace(fakes.no_bikes(), about=fakes.about())
    text = text_of(opened("checks"))
    assert "no working day lies in these weeks" in text


def test_assumed_hours_and_nearness_to_the_best_are_said(shown):
    text = text_of(opened("checks"))
    assert "North Yard: bay hours are not on record, 8 bay hours a day are assumed." in text
    assert "a better plan could save 1.5 ¤ more at most" in text
    assert "no plan under these limits is better" in text
