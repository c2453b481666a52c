"""The wear map's page in each of its states, on made-up views."""

from __future__ import annotations

import pytest

from dashboard.markup import table
from dashboard.parts import show_chart
from pipeline.access import views, wear_view
from tests.dashboard import fake_wear as fakes
from tests.dashboard.fake_views import show_worklist
from tests.dashboard.test_pages import opened, text_of


@pytest.fixture
def shown(monkeypatch, tmp_path):
    """What is asked of the pipeline, in order; ``shown.view`` is what it answers."""

    class Shown(list):
        view = fakes.wear_view()

    asked = Shown()

    def answer(home, asker, part_no="all", duty="all", life_id=None):
        asked.append((part_no, duty, life_id))
        one = asked.view.one
        if life_id:
            own = asked.view.sensors["life_id"].eq(life_id)
            one = fakes.one_sensor(sensor=asked.view.sensors[own].to_dict("records")[0])
        return fakes.replaced(asked.view, part_no=part_no, duty=duty, one=one)

    monkeypatch.setenv("WEAR_ATLAS_HOME", str(tmp_path))
    monkeypatch.setattr(views, "current_version", lambda home: 1)
    show_worklist(monkeypatch)
    monkeypatch.setattr(wear_view, "wear_view", answer)
    return asked


def courier_map():
    """The page of one part and duty, named in the address."""
    app = opened("wear")  # on its way it passes the worklist, which has a duty of its own
    app.query_params["part"], app.query_params["duty"] = "P-1", "courier"
    return app.run()


def test_the_page_shows_map_sensor_groups_and_what_they_rest_on(shown):
    app = courier_map()
    text = text_of(app)
    assert shown[-1] == ("P-1", "courier", None)
    for heading in (
        "Over travel and distance run",
        "One sensor",
        "Which duty wears which part where",
        "Sensors with a worn band",
        "What this map rests on",
    ):
        assert f"<h2>{heading}</h2>" in text
    assert len(app.get("vega_lite_chart")) == 2
    assert text.count("wa-reading") == 2


def test_wear_beside_the_throttle_s_use_is_drawn_only_once_opened(shown):
    app = courier_map()
    app.session_state["use_and_wear"] = True
    app.run()
    assert not app.exception
    assert len(app.get("vega_lite_chart")) == 3


def test_cautions_stand_before_anything_is_advised(shown):
    text = text_of(opened("wear"))
    assert "Before any work on a bike" in text
    assert text.index("Before any work on a bike") < text.index("Where to sweep slowest")


def test_another_part_is_read_anew_and_stands_in_the_address(shown):
    app = opened("wear", part="P-1")
    app.selectbox(key="wear_Part_P-1").select("P-2").run()
    assert shown[-1] == ("P-2", "all", None)
    assert app.query_params["part"] == "P-2"
    assert not app.exception


def test_another_sensor_stands_in_the_address_and_comes_first(shown):
    app = opened("wear")
    own = app.selectbox[-1]
    own.select(own.options[1]).run()
    assert shown[-1][2] == "S-001"
    text = text_of(app)
    assert text.index("<h2>One sensor</h2>") < text.index("<h2>Over travel and distance run</h2>")


def test_roughness_can_be_shown_in_place_of_drop_outs(shown):
    app = courier_map()
    app.selectbox(key="wear_shown").select("Roughness").run()
    assert "The track is expected to be roughest between 10 and 12 % of travel" in text_of(app)


def test_a_group_with_no_test_says_that_nothing_is_known(shown):
    shown.view = fakes.wear_view(
        cells=fakes.cells().iloc[:0], sensors=fakes.sensors().iloc[:0], one=None
    )
    text = text_of(opened("wear", part="no such part"))
    assert "nothing is known of its wear" in text
    assert "No sensor of the part and duty chosen has been mapped" in text


def test_no_worn_band_is_no_statement_that_a_track_is_sound(shown):
    shown.view = fakes.wear_view(sensors=fakes.sensors().assign(confidence=0.1))
    assert "That is no statement that any track is sound" in text_of(opened("wear"))


def test_a_life_that_is_over_has_nothing_left_to_sweep(shown):
    over = fakes.one_sensor(
        stretches=fakes.stretches().iloc[:0],
        passes=fakes.passes().iloc[:0],
        use=fakes.use().iloc[:0],
    )
    shown.view = fakes.wear_view(one=over)
    app = opened("wear")
    assert "This life is over" in text_of(app)
    assert len(app.get("vega_lite_chart")) == 2


def test_a_shop_without_sweeps_is_told_why_there_is_no_map(shown):
    shown.view = fakes.without_a_map()
    app = opened("wear")
    assert "There is no map: no bench test with a measured sweep to map." in text_of(app)
    assert not app.get("vega_lite_chart")


def test_record_text_is_never_markup(shown):
    assert "<script>alert" not in text_of(opened("wear"))


def test_each_figure_has_its_rows_as_a_table_and_as_a_file(shown, monkeypatch):
    opened_tables = {}

    def as_table(draw, reading, rows, columns, *, name, hint=""):
        opened_tables[name] = table(rows, columns, reading)

    monkeypatch.setattr(show_chart, "show_chart", as_table)
    app = courier_map()
    app.session_state["use_and_wear"] = True
    app.run()
    names = ("wear_map_P-1_courier_intensity", "wear_of_S-000", "use_and_wear_S-000")
    cells, sensor, use = (opened_tables[name] for name in names)
    for words in ("10 to 12 % of travel", "10,000 to 20,000 km", "2.5 to 10", "not seen"):
        assert words in cells
    assert "not judged" in sensor
    assert "0.8 to 1.2" in sensor
    assert "51 %" in use
    assert len(app.get("download_button")) == 3
