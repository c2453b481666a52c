"""Each page in each of its states, on made-up views."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from streamlit.testing.v1 import AppTest

import dashboard
from pipeline.access import views, worklist_view
from tests.dashboard import fake_trust as trust
from tests.dashboard import fake_views as fakes

APP = Path(dashboard.__file__).with_name("app.py")


@pytest.fixture(autouse=True)
def records(monkeypatch, tmp_path):
    """A home of its own for each test, so that no view is kept from another one."""
    monkeypatch.setenv("WEAR_ATLAS_HOME", str(tmp_path))
    monkeypatch.setattr(views, "current_version", lambda home: 1)
    fakes.show_worklist(monkeypatch)
    monkeypatch.setattr(views, "trust_view", lambda home, asker: trust.trust_view())
    monkeypatch.setattr(views, "bike_view", lambda home, asker, unit_id: fakes.bike_view(unit_id))
    monkeypatch.setattr(
        views, "session_view", lambda home, asker, session_id: fakes.session_view(session_id)
    )
    return monkeypatch


def opened(page: str = "worklist", **query: str) -> AppTest:
    app = AppTest.from_file(str(APP), default_timeout=20)
    for name, value in query.items():
        app.query_params[name] = value
    app.run()
    if page != "worklist":
        app.switch_page(f"pages/{page}.py").run()
    assert not app.exception
    return app


def text_of(app: AppTest) -> str:
    return "\n".join(
        element.proto.body for element in app.get("html") if "<style>" not in element.proto.body
    )


def test_the_worklist_counts_every_action_and_lists_every_sensor():
    text = text_of(opened())
    assert "4 sensors in service on 4 bikes" in text
    assert text.count('<li><div><span class="wa-action') == 4
    assert "All 4 sensors." in text


def test_the_worklist_can_be_opened_with_its_filters_from_the_address():
    app = opened(action="Test", shop="North Yard")
    assert "1 of 4 sensors match." in text_of(app)
    assert app.session_state["action"] == ["Test"]


def test_filters_end_up_in_the_address_and_in_the_way_back():
    app = opened()
    app.text_input(key="find").input("bike 2").run()
    assert "1 of 4 sensors match." in text_of(app)
    app.switch_page("pages/bike.py")
    app.query_params["unit"] = "U-001"
    assert 'href="./?find=bike+2"' in text_of(app.run())


def test_no_match_is_said_and_is_not_an_empty_page():
    text = text_of(opened(find="no such bike"))
    assert "0 of 4 sensors match." in text
    assert "Take a filter away" in text


def test_a_long_list_has_leaves_and_another_filter_begins_at_the_first(records):
    fakes.show_worklist(records, fakes.worklist_rows(3000))
    app = opened(leaf="3")
    assert "bike 50<" in text_of(app)
    assert text_of(app).count('class="wa-bike"') == 25
    app.text_input(key="find").input("courier bike").run()
    assert "0 of 3,000" in text_of(app)
    app.text_input(key="find").input("bike").run()
    assert "bike 0<" in text_of(app)


def test_an_empty_worklist_says_so(records):
    fakes.show_worklist(records, fakes.worklist_rows(4).iloc[:0])
    assert "No sensor in service is on record." in text_of(opened())


def test_notices_and_set_aside_records_are_named_with_their_count(records):
    fakes.show_worklist(records, notices=["Two tests wait."], set_aside=fakes.set_aside_rows(3))
    app = opened()
    assert "Two tests wait." in text_of(app)
    assert "3 entries set aside" in text_of(app)
    assert "3 entries set aside" in app.expander[-1].label


def test_the_demo_says_that_it_is_invented_and_a_shops_own_records_do_not(records):
    assert "Demo: invented shops" not in text_of(opened())
    fakes.show_worklist(records, edition=fakes.edition(is_demo=True))
    records.setenv("WEAR_ATLAS_HOME", "elsewhere")
    assert "Demo: invented shops, not measured." in text_of(opened())


def test_the_demo_stands_in_while_a_shop_has_no_records(records, tmp_path):
    asked = []
    demo = tmp_path / "demo"
    records.setenv("WEAR_ATLAS_DEMO_HOME", str(demo))
    records.setattr(views, "current_version", lambda home: 1 if home.root == demo else None)
    head = fakes.show_worklist(records)
    records.setattr(
        worklist_view, "worklist_view", lambda home, asker: asked.append(home.root) or head
    )
    opened()
    assert asked == [demo]


@pytest.mark.parametrize(
    ("page", "query"),
    [
        ("worklist", {}),
        ("bike", {"unit": "U-001"}),
        ("session", {"session": "T-001"}),
        ("trust", {}),
    ],
)
def test_without_any_records_each_page_says_how_to_hand_some_in(records, page, query):
    records.setattr(views, "current_version", lambda home: None)
    text = text_of(opened(page, **query))
    assert "No records have been published yet" in text
    assert 'href="hand_in"' in text
    assert 'href="start"' in text


def test_a_newly_published_version_is_read_without_a_restart(records):
    app = opened()
    records.setattr(views, "current_version", lambda home: 2)
    fakes.show_worklist(records, fakes.worklist_rows(7), edition=fakes.edition(version=2))
    text = text_of(app.run())
    assert "7 sensors in service" in text
    assert "version 2" in text


@pytest.mark.parametrize(
    ("page", "query"),
    [
        ("worklist", {}),
        ("bike", {"unit": "U-001"}),
        ("session", {"session": "T-001"}),
        ("trust", {}),
    ],
)
def test_every_page_that_judges_shows_the_cautions(page, query):
    text = text_of(opened(page, **query))
    assert "Engine off, bike steady" in text
    assert "never declares a bike safe" in text
    assert "Drive-by-wire" in text


@pytest.mark.parametrize(("page", "of"), [("bike", "bike"), ("session", "test")])
def test_an_address_that_names_nothing_is_answered_with_the_way_on(page, of):
    text = text_of(opened(page))
    assert f"names no {of}" in text
    assert 'href="./"' in text


@pytest.mark.parametrize(
    ("page", "query"), [("bike", {"unit": "U-999"}), ("session", {"session": "<b>x"})]
)
def test_an_unknown_identifier_is_said_to_be_unknown(records, page, query):
    records.setattr(views, f"{page}_view", fakes.unknown)
    assert "The records hold no bike U-999." in text_of(opened(page, **query))


def test_the_bike_page_links_its_tests_and_says_what_each_repair_counts_as():
    text = text_of(opened("bike", unit="U-001"))
    assert 'href="session?session=T-000"' in text
    assert "road failure: a defect of the sensor let the rider down" in text
    assert "defect: the sensor itself proved faulty" in text
    assert "neither: no fault of the sensor itself was confirmed" in text


def test_the_reading_that_was_out_of_range_is_shown_first():
    app = opened("bike", unit="U-001")
    assert app.selectbox(key="reading").value == "Track resistance (1 out of range)"
    assert "Last track resistance: 5,200 ohm" in text_of(app)


def test_a_bike_without_any_history_has_a_word_for_each_part(records):
    whole = fakes.bike_view()
    bare = {
        n: getattr(whole, n).iloc[:0]
        for n in ("sensors", "tests", "repairs", "odometer", "readings", "advice")
    }
    records.setattr(views, "bike_view", lambda home, asker, unit_id: fakes.bike_view(**bare))
    text = text_of(opened("bike", unit="U-001"))
    assert text.count("on record") == 6


def test_the_session_page_shows_both_verdicts_and_where_they_differ():
    text = text_of(opened("session", session="T-001"))
    assert (
        text.index("By rule")
        < text.index("Drop-outs seen")
        < text.index("By the technician")
        < text.index(">Pass<")
    )
    assert "do not agree" in text


def test_the_session_page_says_where_the_track_wears_and_draws_it_only_once_opened():
    app = opened("session", session="T-001")
    text = text_of(app)
    assert "<h2>Where this track wears</h2>" in text
    assert text.index("Before any work on a bike") < text.index("Sweep slowest at")
    before = len(app.get("vega_lite_chart"))
    app.session_state["track_of_test"] = True
    app.run()
    assert not app.exception
    assert len(app.get("vega_lite_chart")) == before + 1


def test_a_sensor_without_a_track_is_not_said_to_wear(records):
    none = fakes.wear_at_test(life_id=None)
    records.setattr(
        views, "session_view", lambda home, asker, session_id: fakes.session_view(wear=none)
    )
    text = text_of(opened("session", session="T-001"))
    assert "This sensor has no track" in text
    assert "Worn band" not in text


def test_the_session_page_says_what_the_sweep_could_have_missed_and_whether_unplugging_explains():
    text = text_of(opened("session", session="T-001"))
    assert "Drop-outs shorter than 5.0 ms" in text
    assert "Unplugging does not explain P0122." in text
    assert "points to a fault" in text
    assert 'href="bike?unit=U-001"' in text
    assert 'href="session?session=T-000"' in text


def test_a_session_without_a_sweep_says_that_nothing_is_known_of_dropouts(records):
    records.setattr(
        views, "session_view", lambda home, asker, session_id: fakes.session_without_sweep()
    )
    text = text_of(opened("session", session="T-001"))
    assert "No sweep was handed in with this test, so nothing is known here" in text
    assert "No sweep to judge" in text
    assert "No other test of this sensor is on record." in text


@pytest.mark.parametrize(
    ("page", "query"), [("bike", {"unit": fakes.HOSTILE}), ("session", {"session": fakes.HOSTILE})]
)
def test_record_text_is_never_markup(page, query):
    app = opened(page, **query)
    bodies = [element.proto.body for element in app.get("html")]
    assert any("&lt;script&gt;alert(1)" in body for body in bodies)
    assert not any("<script>alert" in body for body in bodies)
    assert not app.markdown


def test_a_bike_says_what_may_lie_ahead_by_km_and_by_date():
    text = text_of(opened("bike", unit="U-001"))
    assert "What may lie ahead" in text
    assert "90 days (about 6,800 km)" in text
    assert "about 4 in 100, likely 2 to 7" in text
    assert "Dates are worked out at about 75 km a day, likely 37 to 152." in text
    assert "was last read on" not in text


def test_a_bike_not_read_for_long_says_that_dates_are_a_guess(records):
    bike = fakes.bike_view().bike | {
        "odometer_stale": True,
        "days_since_reading": 230.0,
        "odometer_read_on": "2025-07-28",
        "km_since_reading_low": 1200.0,
        "km_since_reading_high": 5400.0,
    }
    records.setattr(
        views, "bike_view", lambda home, asker, unit_id: fakes.bike_view(unit_id, bike=bike)
    )
    text = text_of(opened("bike", unit="U-001"))
    assert "last read on 2025-07-28, 230 days ago" in text
    assert "likely 1,200 to 5,400 km" in text


def test_a_bike_of_which_no_chance_is_known_says_so(records):
    ahead = fakes.ahead().assign(defect=None, road=None)
    records.setattr(
        views, "bike_view", lambda home, asker, unit_id: fakes.bike_view(unit_id, ahead=ahead)
    )
    assert "No chance can be given" in text_of(opened("bike", unit="U-001"))


def test_the_worklist_gives_the_chance_of_being_let_down_and_says_when_it_is_a_guess():
    text = text_of(opened())
    assert text.count("about 6 in 100, likely 3 to 12, over about 6,800 km") == 4
    assert text.count("a guess, since the odometer was not read for long") == 1
    assert 'href="trust"' in text


def test_the_trust_page_holds_the_chances_against_the_past():
    app = opened("trust")
    text = text_of(app)
    assert "923 looks at a sensor; after 72 of them a defect came to light" in text
    assert "held 44 in 100; ordered by km run alone it would have held 38" in text
    assert "In 1 of 2 groups the number found is within the range" in text
    assert "0.1 to 0.6 in 100 (more than expected)" in text
    assert "about 16,700 km, likely 11,200 to 20,200 km" in text
    assert "beyond 40,000 km, the oldest sensor watched" in text
    assert "the advice changes for at most 1 of 110 sensors" in text
    app.selectbox(key="grouping").select("Part").run()
    assert not app.exception
    assert "In 2 of 2 groups" in text_of(app)
    app.selectbox(key="curve_of").select("Part P-1").run()
    assert not app.exception


def test_the_trust_page_of_a_shop_with_few_records_says_why_and_shows_no_number(records):
    records.setattr(views, "trust_view", lambda home, asker: trust.trust_without_records())
    text = text_of(opened("trust"))
    assert "3 confirmed defects are on record. Looking back needs 10." in text
    assert "so there is no curve" in text
    assert "No sensor has a chance yet" in text
    assert "came to light" not in text


def test_too_few_found_is_said_to_prove_nothing(records):
    few = trust.skill().assign(too_few=True, n_found=5)
    records.setattr(views, "trust_view", lambda home, asker: trust.trust_view(skill=few))
    assert "too few to prove anything" in text_of(opened("trust"))


def test_a_bike_of_whose_sensors_nothing_can_be_explained(records):
    view = fakes.bike_view("U-001")
    bare = replace(view, explained=view.explained.iloc[:0])
    records.setattr(views, "bike_view", lambda home, asker, unit_id: bare)
    assert "Sensors on the bike now" in text_of(opened("bike", unit="U-001"))
