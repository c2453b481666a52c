"""Settings are kept from the page, named where they cannot stand, and every page follows."""

from __future__ import annotations

import pytest

from pipeline.home import Home
from pipeline.intake.settings.settings_edit import keep_settings
from pipeline.intake.settings.settings_file import read_settings
from pipeline.intake.settings.shown_settings import BY_DAY, ShownSettings
from tests.dashboard.page_app import page_at, words_of
from tests.pipeline.faulty_shop import faulty_copy, faulty_home

__all__ = ["faulty_copy", "faulty_home"]


@pytest.fixture
def shop(faulty_copy, monkeypatch) -> Home:
    monkeypatch.setenv("WEAR_ATLAS_HOME", str(faulty_copy.root))
    monkeypatch.setattr("dashboard.surround.take_up_if_due", lambda home: None)
    return faulty_copy


def test_how_values_are_shown_is_kept_and_every_page_follows(shop):
    before = words_of(page_at("bike", unit="B1"))
    assert "26,000 km on 2025-06-01" in before
    app = page_at("settings")
    app.selectbox(key="shown_distances").set_value("miles")
    app.selectbox(key="shown_dates").set_value(BY_DAY)
    app.selectbox(key="shown_language_of_dates").set_value("German")
    app.text_input(key="shown_base_address").set_value("http://shop:8650")
    app.button(key="keep_shown").click().run()
    assert "Kept in settings.toml." in words_of(app)
    assert read_settings(shop).shown == ShownSettings(
        "miles", BY_DAY, "German", "", "http://shop:8650"
    )
    after = words_of(page_at("bike", unit="B1"))
    assert "16,156 miles on 1. Juni 2025" in after
    assert "26,000 km" not in after
    app.selectbox(key="shown_distances").set_value("km")
    app.button(key="keep_shown").click().run()
    assert "26,000 km on 1. Juni 2025" in words_of(page_at("bike", unit="B1"))


def test_what_cannot_stand_is_named_by_its_field_and_nothing_is_kept(shop):
    text = shop.settings.read_text()
    app = page_at("settings")
    app.text_input(key="shown_base_address").set_value("shop")
    app.text_input(key="shown_time_zone").set_value("Berlin")
    app.button(key="keep_shown").click().run()
    said = words_of(app)
    assert "Nothing was saved." in said
    assert "expected an address such as http://192.168.1.20:8650, or nothing" in said
    assert "expected a time zone such as Europe/Berlin, or nothing" in said
    assert shop.settings.read_text() == text


def test_a_cost_is_kept_and_said_not_to_be_in_the_plans_until_a_build(shop, monkeypatch):
    begun = []
    app = page_at("settings")
    assert "not in the advice and plans yet" not in words_of(app)
    app.session_state["fold_costs"] = True
    app.run()
    app.number_input(key="keep_labour_cost_per_hour").set_value(91.0)
    app.button(key="keep_section_costs").click().run()
    assert read_settings(shop).settings.labour_cost_per_hour == 91.0
    assert "1 setting not in the advice and plans yet" in words_of(app)
    assert "An hour of labour (money/h)" in words_of(app)
    monkeypatch.setattr("pipeline.jobs.take_up.take_up", begun.append)
    app.button(key="settings_build").click().run()
    assert "The plans are being worked out." in words_of(app)
    assert begun == [shop]


def test_a_number_beyond_its_bounds_is_named(shop):
    app = page_at("settings")
    app.session_state["fold_stock"] = True
    app.run()
    app.number_input(key="keep_review_days").set_value(400)
    app.button(key="keep_section_stock").click().run()
    assert "expected a whole number from 1 to 90" in words_of(app)
    assert read_settings(shop).settings.review_days == 7


def test_what_cannot_stand_in_the_file_is_told_with_its_line(shop):
    shop.settings.write_text("[costs]\ntest_hours = 0,7\n")
    said = words_of(page_at("settings"))
    assert "settings.toml, line 2: test_hours is 0,7, which cannot be read" in said
    assert "with a point: 0.7" in said


def test_a_file_that_cannot_be_read_is_not_written_over(shop):
    shop.settings.write_text('[costs]\ncurrency = """\n')
    app = page_at("settings")
    app.button(key="keep_shown").click().run()
    app.selectbox(key="shown_distances").set_value("miles")
    app.button(key="keep_shown").click().run()
    assert "nothing was changed" in words_of(app)


def test_an_odometer_is_typed_in_miles_where_miles_are_shown(shop):
    keep_settings(shop, {"distances": "miles"})
    app = page_at("register", unit="B1")
    (field,) = [field for field in app.number_input if field.key == "odometer_km"]
    assert field.label == "Odometer, miles"


def test_the_record_of_deeds_stands_below_with_a_file_of_all_of_it(shop):
    app = page_at("settings")
    app.selectbox(key="shown_distances").set_value("miles")
    app.button(key="keep_shown").click().run()
    said = words_of(app)
    assert "Who did what" in said
    assert "this machine (owner)" in said
    assert "distances km → miles" in said
    assert "Handed in: hand-in 1" in said
    assert "Advised anew: version 1" in said
