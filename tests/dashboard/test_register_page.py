"""Registering a bike, its sensors and its odometer, in each state of the page."""

from __future__ import annotations

from datetime import date

import pytest

from pipeline.access.register_view import register_view
from tests.askers import HERE
from tests.dashboard.page_app import page_at, words_of

pytestmark = pytest.mark.usefixtures("own_shop")


def _filled(app, **values: str):
    app.text_input(key="new_unit").input(values.get("unit", "N1"))
    app.selectbox(key="new_shop").set_value("s1")
    app.selectbox(key="new_model").set_value("alder")
    app.selectbox(key="new_sensor_part").set_value("P1")
    app.run()
    app.number_input(key="new_odometer").set_value(1200)
    return app


def test_a_bike_and_its_sensor_are_registered_and_can_be_tested_at_once(own_shop):
    app = _filled(page_at("register"))
    app.button(key="new_save").click().run()
    words = words_of(app)
    assert "Bike N1 is registered" in words
    assert 'href="bench?unit=N1"' in words
    view = register_view(own_shop, HERE, "N1")
    (sensor,) = view.sensors.values()
    assert (sensor["part_no"], sensor["origin"]) == ("P1", "original")
    assert view.odometer_km == 1200


def _type_part(app, part_no: str):
    """Type what is none of the choices, as a browser lets one."""
    widget = app.selectbox(key="sensor_part")
    widget.options.append(part_no)
    widget.set_value(part_no)


def test_a_number_that_is_taken_is_refused(own_shop):
    app = _filled(page_at("register"), unit="B1")
    app.button(key="new_save").click().run()
    assert "on record already" in words_of(app)
    assert register_view(own_shop, HERE, "B1").unit["label"] == "F-01"


def test_what_is_missing_is_named():
    app = page_at("register")
    app.button(key="new_save").click().run()
    words = words_of(app)
    for name in ("The bike&#x27;s number: blank", "Model: blank"):
        assert name in words


def test_an_odometer_is_saved_and_one_below_the_last_is_asked_about(own_shop):
    app = page_at("register", unit="B1")
    app.date_input(key="odometer_on").set_value(date(2026, 5, 30))
    app.number_input(key="odometer_km").set_value(27_500)
    app.button(key="odometer_save").click().run()
    assert "27,500 km, saved" in words_of(app)
    app.number_input(key="odometer_km").set_value(20)
    app.button(key="odometer_save").click().run()
    assert "was the instrument changed?" in words_of(app)


def test_a_second_sensor_with_a_new_part_is_registered(own_shop):
    app = page_at("register", unit="B1")
    app.selectbox(key="sensor_mount").set_value("grip_a")
    _type_part(app, "P77")
    app.run()
    _type_part(app, "P77")
    app.text_input(key="sensor_new_part_description").input("grip sensor")
    app.button(key="sensor_save").click().run()
    assert "A sensor of bike B1 is registered" in words_of(app)
    view = register_view(own_shop, HERE, "B1")
    assert "P77" in {row["part_no"] for row in view.sensors.values()}
    assert view.choices.fits("P77", "alder", "grip_a")


def test_a_new_part_without_a_description_is_refused(own_shop):
    app = page_at("register", unit="B1")
    _type_part(app, "P77")
    app.run()
    _type_part(app, "P77")
    app.button(key="sensor_save").click().run()
    assert "Description" in words_of(app)
    assert "P77" not in register_view(own_shop, HERE).choices.parts


def test_a_bike_s_particulars_are_changed_and_the_others_stay(own_shop):
    app = page_at("register", unit="B1")
    assert app.text_input(key="change_label").value == "F-01"
    app.text_input(key="change_label").input("F-77")
    app.button(key="bike_save").click().run()
    assert "is changed" in words_of(app)
    unit = register_view(own_shop, HERE, "B1").unit
    assert (unit["label"], unit["duty"], unit["fleet_id"]) == ("F-77", "courier", "f1")
