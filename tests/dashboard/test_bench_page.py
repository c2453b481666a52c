"""The bench in each of its states, on a published shop."""

from __future__ import annotations

import pandas as pd
import pytest

from dashboard.bench.steps import STEPS
from pipeline.access.entered.pending_test import pending_session_view
from pipeline.access.views import session_view
from pipeline.home import Home
from pipeline.intake.hand_in_cards import card_of, hand_in_folders
from pipeline.intake.typed.drafts import drafts, keep_sweep
from pipeline.jobs.ingest import rebuild
from tests.askers import HERE
from tests.dashboard.page_app import keyed, page_at, words_of
from tests.pipeline.intake.loggers.recorded import candump_text, sweep_volts, wav_bytes
from tests.pipeline.shop_files import sweep_csv

pytestmark = pytest.mark.usefixtures("own_shop")
NAMES = [step.name for step in STEPS]


def _at(app, step: str):
    keyed(app, "selectbox", "_step").set_value(step)
    return app.run()


def _typed(app, **readings: float):
    for name, value in readings.items():
        keyed(app, "number_input", f"_{name}").set_value(value)
    return app.run()


def test_without_a_bike_it_asks_for_one_and_finds_it_by_part_of_its_plate():
    app = page_at("bench")
    app.text_input(key="find_bike_text").input("alder")
    app.button(key="find_bike_go").click().run()
    assert "4 bikes" in words_of(app)
    assert 'href="bench?unit=B2"' in words_of(app)
    app.text_input(key="find_bike_text").input("nothing like it")
    app.button(key="find_bike_go").click().run()
    assert "No bike" in words_of(app)


def test_the_first_step_says_what_is_due_and_all_cautions():
    words = words_of(page_at("bench", unit="B1"))
    assert "What is due, and why" in words
    assert "Drive-by-wire throttle plates move" in words
    assert "1. Bike and reason" in words


def test_a_reading_is_answered_the_moment_it_is_typed():
    app = _at(page_at("bench", unit="B1"), "supply")
    assert "wa-state" not in words_of(app)
    assert "in range" in words_of(_typed(app, supply_v=5.01))
    words = words_of(_typed(app, supply_v=4.2))
    assert "out of range" in words
    assert "look at the supply" in words


def test_what_the_contract_refuses_is_said_before_the_save():
    app = _typed(_at(page_at("bench", unit="B1"), "supply"), supply_v=31)
    assert "31 V cannot be saved" in words_of(app)


def test_an_odometer_below_the_last_one_is_asked_about():
    app = _typed(page_at("bench", unit="B1"), odometer_km=12)
    assert "less than the" in words_of(app)


def test_what_was_typed_stands_in_the_draft_after_a_reload(own_shop):
    first = _typed(_at(page_at("bench", unit="B1"), "supply"), supply_v=4.97)
    (draft,) = drafts(own_shop, HERE)
    assert draft.values["supply_v"] == 4.97
    again = page_at("bench", unit="B1", draft=draft.name)
    assert keyed(again, "selectbox", "_step").value == "supply"
    assert keyed(again, "number_input", "_supply_v").value == 4.97
    assert "in range" in words_of(again)
    assert "Begun and not saved" in words_of(page_at("bench"))
    assert first.query_params["draft"] == draft.name


def test_a_tag_scanned_anew_leads_back_to_the_test_that_was_begun(own_shop):
    _typed(_at(page_at("bench", unit="B1"), "supply"), supply_v=4.97)
    (draft,) = drafts(own_shop, HERE)
    words = words_of(page_at("bench", unit="B1"))
    assert "Begun and not saved" in words
    assert f"draft={draft.name}" in words
    assert "Begun and not saved" not in words_of(page_at("bench", unit="B2"))
    assert "Begun and not saved" not in words_of(page_at("bench", unit="B1", draft=draft.name))


def test_a_damaged_file_of_column_names_stops_no_test(own_shop):
    own_shop.column_names.write_text("{")
    app = _with_sweep(_typed(page_at("bench", unit="B1"), odometer_km=30_000), _pasted())
    keyed(app, "button_group", "_sweep_channel").set_value("volt")
    app.run()
    assert "Bench test of" in _saved(app)
    assert drafts(own_shop, HERE) == []


def test_a_page_only_opened_is_no_draft(own_shop):
    app = page_at("bench", unit="B1")
    keyed(app, "button", "_next").click().run()
    assert drafts(own_shop, HERE) == []


def test_nothing_typed_leaves_no_reading_behind(own_shop):
    app = _typed(_at(page_at("bench", unit="B1"), "supply"), supply_v=4.97)
    keyed(app, "number_input", "_supply_v").set_value(None)
    app.run()
    assert "supply_v" not in drafts(own_shop, HERE)[0].values


def _with_sweep(app, text: str):
    _at(app, "sweep")
    keyed(app, "text_area", "_pasted").input(text)
    keyed(app, "button", "_take_pasted").click().run()
    return app


def _saved(app) -> str:
    _at(app, "verdict")
    keyed(app, "button", "_save").click().run()
    return words_of(app)


def _pasted() -> str:
    rows = [line.split(",") for line in sweep_csv("x").splitlines()[1:]]
    body = "\n".join(f"{float(t) * 1000:.3f};{signal}" for _, t, signal in rows)
    return f"ms;probe\n{body}\n"


def test_a_sweep_pasted_is_measured_and_saved_with_the_test(own_shop: Home):
    app = _typed(page_at("bench", unit="B1"), odometer_km=30_000)
    _typed(_at(app, "supply"), supply_v=5.0)
    _with_sweep(app, _pasted())
    assert "is kept with this test" in words_of(app)
    keyed(app, "radio", "_times_in").set_value("ms")
    keyed(app, "button_group", "_sweep_channel").set_value("volt")
    app.run()
    assert "By the rules" in words_of(app)
    words = _saved(app)
    assert "Bench test of" in words
    session_id = app.query_params["session"]
    typed = pending_session_view(own_shop, HERE, session_id)
    rebuild(own_shop)
    built = session_view(own_shop, HERE, session_id)
    assert pd.Series(typed.measures).equals(pd.Series(built.measures))
    assert built.session["odometer_km"] == 30_000
    assert drafts(own_shop, HERE) == []


def test_the_names_of_a_logger_s_columns_are_remembered(own_shop):
    app = _typed(page_at("bench", unit="B1"), odometer_km=30_000)
    _with_sweep(app, _pasted().replace("ms;probe", "clock;volts at the pin"))
    keyed(app, "selectbox", "_place_t_s").set_value("volts at the pin")
    keyed(app, "selectbox", "_place_signal").set_value("clock")
    keyed(app, "button_group", "_sweep_channel").set_value("volt")
    app.run()
    _saved(app)
    again = _with_sweep(page_at("bench", unit="B2"), "clock;volts at the pin\n1;2\n2;3\n")
    assert keyed(again, "selectbox", "_place_t_s").value == "volts at the pin"


def test_a_text_that_is_no_sweep_is_said(own_shop):
    app = _with_sweep(page_at("bench", unit="B1"), "no numbers at all")
    assert "This is no sweep" in words_of(app)
    words = _saved(_typed(_at(app, "about"), odometer_km=30_000))
    assert "Nothing was saved" in words
    assert drafts(own_shop, HERE)


def test_a_can_log_needs_no_unit_and_is_kept_with_what_was_made_of_it(own_shop: Home):
    app = _with_sweep(_typed(page_at("bench", unit="B1"), odometer_km=30_000), candump_text(8.0))
    words = words_of(app)
    assert "CAN log (candump text)" in words
    assert "Too little evidence to say more" in words
    assert "passes over most drop-outs" in words
    assert not [box for box in app.button_group if box.key.endswith("_sweep_channel")]
    assert keyed(app, "selectbox", "_place_signal").value == "PID 11 of 7E8"
    assert "Bench test of" in _saved(app)
    view = pending_session_view(own_shop, HERE, app.query_params["session"])
    assert view.session["sweep_channel"] == "percent"
    assert view.measures["conclusion"] == "cannot_tell"
    (kept,) = card_of(max(hand_in_folders(own_shop)))["workbooks"]
    assert kept["name"].startswith("recording-B1-")


def _with_recording(app, home: Home, content: bytes):
    """The draft holds a recording, as after it was dropped in."""
    _at(app, "sweep")
    keep_sweep(home, HERE, app.query_params["draft"], content)
    return app.run()


def _sound() -> bytes:
    return wav_bytes([sweep_volts(8_000)[1] / 6], 8_000)


@pytest.mark.long
def test_sound_that_keeps_slow_levels_is_measured_under_the_scale_typed(own_shop: Home):
    app = _with_recording(page_at("bench", unit="B1"), own_shop, _sound())
    assert "Say what full scale stands for" in words_of(app)
    _typed(app, full_scale_v=6.0)
    keyed(app, "button_group", "_levels").set_value("kept")
    words = words_of(app.run())
    assert "Full scale stands for 6 V" in words
    assert "No drop-out and no roughness, as far as this sweep could show them." in words


@pytest.mark.long
def test_sound_that_loses_slow_levels_is_saved_and_never_judged(own_shop: Home):
    app = _typed(page_at("bench", unit="B1"), odometer_km=30_000)
    app = _typed(_with_recording(app, own_shop, _sound()), full_scale_v=6.0)
    keyed(app, "button_group", "_levels").set_value("lost")
    words = words_of(app.run())
    assert "nothing is concluded from this sweep" in words
    assert "could have been missed" not in words
    assert "Bench test of" in _saved(app)
    view = pending_session_view(own_shop, HERE, app.query_params["session"])
    assert pd.isna(view.session["sweep_channel"])
    assert "nothing is concluded" in view.session["note"]
    assert view.measures["conclusion"] == "cannot_tell"


def test_a_recording_that_cannot_be_read_says_why(own_shop: Home):
    app = _with_recording(page_at("bench", unit="B1"), own_shop, b"MDF     3.30    ")
    assert "expected MDF 4" in words_of(app)


def test_a_sweep_without_its_unit_is_not_saved(own_shop):
    app = _with_sweep(_typed(page_at("bench", unit="B1"), odometer_km=30_000), _pasted())
    assert "What the sweep's signal is in" in _saved(app).replace("&#x27;", "'")


def test_a_test_without_an_odometer_is_refused_by_name(own_shop):
    app = _at(_typed(_at(page_at("bench", unit="B1"), "supply"), supply_v=5.0), "verdict")
    assert "The odometer is not typed yet" in words_of(app)
    assert "Odometer: blank" in _saved(app)
    assert drafts(own_shop, HERE)


def test_back_and_forth_go_one_step():
    app = page_at("bench", unit="B1")
    keyed(app, "button", "_next").click().run()
    assert keyed(app, "selectbox", "_step").value == NAMES[1]
    keyed(app, "button", "_back").click().run()
    assert keyed(app, "selectbox", "_step").value == NAMES[0]


def test_a_bike_without_a_sensor_leads_to_registering_one(own_shop):
    from pipeline.intake.typed.registering import save_bike

    save_bike(own_shop, {"unit_id": "N1", "shop_id": "s1", "model_code": "alder"})
    words = words_of(page_at("bench", unit="N1"))
    assert "No sensor is on record" in words
    assert 'href="register?unit=N1"' in words


def test_a_bike_nobody_knows_is_said():
    assert "no bike nobody" in words_of(page_at("bench", unit="nobody"))
