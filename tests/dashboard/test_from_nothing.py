"""From an empty home to a first test: every form works before anything else is on record."""

from __future__ import annotations

from datetime import date

from pipeline.access.register_view import register_view
from pipeline.access.views import session_view
from pipeline.access.worklist_view import WorklistAsked, worklist_found
from pipeline.home import Home
from pipeline.jobs.ingest import rebuild
from pipeline.jobs.start_own import start_own
from tests.askers import HERE
from tests.dashboard.page_app import keyed, page_at, words_of


def _typed(app, key: str, option: str):
    """Type what is none of the choices, as a browser lets one."""
    widget = app.selectbox(key=key)
    widget.options.append(option)
    widget.set_value(option)


def _register(app) -> None:
    for _ in range(2):  # a list forgets between two runs what it never offered
        app.text_input(key="new_unit").input("N1")
        _typed(app, "new_shop", "quay")
        _typed(app, "new_model", "alder-300")
        _typed(app, "new_sensor_part", "PN-1")
        if [w for w in app.text_input if w.key == "new_sensor_new_part_description"]:
            app.text_input(key="new_sensor_new_part_description").input("throttle sensor")
            app.number_input(key="new_odometer").set_value(18_000)
            app.button(key="new_save").click()
        app.run()


def test_a_first_bike_is_registered_tested_and_built(tmp_path, monkeypatch):
    monkeypatch.setenv("WEAR_ATLAS_HOME", str(tmp_path / "own"))
    monkeypatch.setattr("dashboard.surround.take_up_if_due", lambda home: None)
    home = Home(tmp_path / "own")
    start_own(home)
    assert "register it" in words_of(page_at("bench"))

    app = page_at("register")
    _register(app)
    assert "Bike N1 is registered" in words_of(app)
    choices = register_view(home, HERE).choices
    assert choices.shops["quay"]["name"] == "quay"
    assert choices.parts["PN-1"]["description"] == "throttle sensor"
    assert choices.fits("PN-1", "alder-300", "throttle")

    bench = page_at("bench", unit="N1")
    assert "The plans do not hold this sensor yet" in words_of(bench)
    keyed(bench, "date_input", "_day").set_value(date.today())
    keyed(bench, "number_input", "_odometer_km").set_value(18_000)
    keyed(bench, "selectbox", "_step").set_value("ends_v")
    bench.run()
    keyed(bench, "number_input", "_closed_v").set_value(0.6)
    bench.run()
    assert "no good range for this part number yet" in words_of(bench)
    keyed(bench, "selectbox", "_step").set_value("verdict")
    bench.run()
    keyed(bench, "button", "_save").click().run()
    assert "Just entered." in words_of(bench)
    session_id = bench.query_params["session"]

    rebuild(home)
    assert session_view(home, HERE, session_id).session["unit_id"] == "N1"
    assert worklist_found(home, HERE, WorklistAsked())["unit_id"].tolist() == ["N1"]
