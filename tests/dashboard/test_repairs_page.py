"""The page of what repairs came to, in each of its states."""

from __future__ import annotations

from datetime import date

import pytest

from dashboard.charts.repairs import placed, rates_chart
from dashboard.wording.repairs_words import rate_reading, rate_words
from dashboard.wording.saving_words import saved_reading
from models.plans.saved_so_far import SavedSoFar
from models.repairs.rates import REPAIR_JOBS
from pipeline.access import repairs_view, views
from tests.dashboard import fake_repairs as fakes
from tests.dashboard.fake_views import show_worklist
from tests.dashboard.test_pages import opened, text_of


@pytest.fixture
def shown(monkeypatch, tmp_path):
    """``shown(view)`` lets the page show that view."""
    monkeypatch.setenv("WEAR_ATLAS_HOME", str(tmp_path))
    monkeypatch.setattr(views, "current_version", lambda home: 1)
    show_worklist(monkeypatch)

    def show(view):
        monkeypatch.setattr(repairs_view, "repairs_view", lambda home, asker: view)

    show(fakes.repairs_view())
    return show


def test_both_rates_come_with_count_range_and_chart(shown):
    app = opened("repairs")
    text = text_of(app)
    assert "No fault found: 12 of 40 jobs, 30 in 100, likely 19 to 43." in text
    assert "Came back: 3 of 40 jobs" in text
    assert "By part, apart from it with the whole range: above it: P2; below it: P1." in text
    assert len(app.get("vega_lite_chart")) == 2
    assert "Nothing is counted by person." in text
    assert 'href="costs"' in text
    assert "Engine off" in text


def test_another_grouping_is_drawn_from_the_address(shown):
    app = opened("repairs", repairs_by="Shop")
    assert "None of 2 shops lies apart from it" in text_of(app)
    app.radio(key="repairs_by").set_value("Model").run()
    assert "None of 2 models lies apart" in text_of(app)


def test_the_table_names_every_group_and_never_as_markup(shown):
    app = opened("repairs", repairs_by="Model")
    app.session_state["table_no_fault_found"] = True
    app.run()
    text = text_of(app)
    assert "&lt;script&gt;alert(1)" in text
    assert "<script>alert(1)" not in text
    assert "6 of 20 jobs" in text


def test_jobs_too_young_to_come_back_say_so(shown):
    shown(fakes.repairs_view(fakes.some_jobs(closed_on="2026-03-01")))
    app = opened("repairs")
    assert "No job has been closed for long enough" in text_of(app)
    assert len(app.get("vega_lite_chart")) == 1


def test_without_a_job_there_is_nothing_to_count(shown):
    shown(fakes.repairs_view(REPAIR_JOBS.empty()))
    app = opened("repairs")
    assert "No closed job is on record" in text_of(app)
    assert not app.get("vega_lite_chart")


def test_none_seen_is_said_as_0_and_an_unknown_rate_as_unknown():
    assert (
        rate_words({"n": 20, "share": 0.0, "low": 0.0, "high": 0.06}) == "0 in 100, likely 0 to 6"
    )
    assert (
        rate_words({"n": 0, "share": None, "low": None, "high": None})
        == "not known: no job counted"
    )
    empty = fakes.repairs_view(REPAIR_JOBS.empty()).rates
    assert rate_reading(empty, "comeback", "part") == "No job has been counted yet."


def test_of_few_jobs_the_range_alone_is_said_and_no_group_is_called_apart():
    few = {"n": 4, "hits": 4, "share": 1.0, "low": 0.55, "high": 1.0}
    assert rate_words(few) == "too few jobs to say: likely 55 to 100 in 100"
    jobs = fakes.some_jobs().iloc[18:]  # part P1 in two jobs, P2 in twenty
    reading = rate_reading(fakes.repairs_view(jobs).rates, "no_fault_found", "part")
    assert "1 part with fewer than 10 jobs: too few to say." in reading
    assert "P1" not in reading
    spec = rates_chart(fakes.repairs_view(jobs).rates, "no_fault_found", "part", "x").to_dict()
    assert spec["layer"][1]["encoding"]["fillOpacity"]["condition"]["test"] == "datum.n < 10"


def test_two_shops_of_one_name_are_told_apart_and_the_chart_marks_share_and_range():
    rates = fakes.repairs_view().rates
    names = placed(rates, "no_fault_found", "shop")["name"].tolist()
    assert names == ["Weir Lane s1 (30)", "Weir Lane s2 (10)"]
    spec = rates_chart(rates, "no_fault_found", "part", "No fault found").to_dict()
    marks = [layer["mark"]["type"] for layer in spec["layer"]]
    assert marks == ["rule", "point", "rule"]
    assert spec["layer"][1]["mark"]["shape"] == "diamond"
    # the longest range, of 12 in 20, ends at 76 in 100
    assert spec["layer"][0]["encoding"]["x"]["scale"]["domain"] == [0, 80]


def test_what_the_advice_saved_is_told_with_its_range_counts_and_what_is_assumed(shown):
    text = text_of(opened("repairs"))
    part = text.split("What the advice is estimated to have saved")[1]
    assert "Since 2025-09-01 the advice is estimated to have saved 2,400 crowns" in part
    assert "likely 1,100 to 3,900 crowns saved" in part
    assert "6 defects found and confirmed before anybody noticed, 20 tests" in part
    assert "Assumed: each defect found would have been heard of all the same" in part
    assert "In the 365 days ahead" in part
    assert "estimated to save 100 crowns against planning nothing; 2 fits" in part
    assert "give 20 crowns to 250 crowns" in part


def test_where_the_advice_cost_more_than_it_saved_that_is_said():
    saved = SavedSoFar(-310.0, -400.0, 20.0, date(2025, 9, 1), 9, 0, 6, 1, 0)
    told = saved_reading(saved, "crowns")
    assert "have cost more than it saved by 310 crowns: likely \u2212400 to 20 crowns" in told


def test_without_work_done_on_advice_nothing_is_claimed():
    none = SavedSoFar(0.0, 0.0, 0.0, None, 0, 0, 0, 0, 0)
    assert "Nothing can be told yet" in saved_reading(none, "")
    idle = SavedSoFar(0.0, 0.0, 0.0, date(2025, 9, 1), 12, 0, 0, 0, 2)
    assert "work has been advised 12 times; none of it has been done" in saved_reading(idle, "")
