"""The page of the fleet in each of its states, and what is typed on it."""

from __future__ import annotations

from datetime import date

import pytest

from dashboard import once
from dashboard.charts.fleet import fleet_chart, placed
from dashboard.parts import fleet_entry_part
from dashboard.wording.fleet_words import (
    check_words,
    fleet_reading,
    in_1000,
    rests_on,
    typed_words,
    unknown_reasons,
)
from models.risk.bike_weeks import BIKE_WEEKS
from pipeline.access import fleet_view, views
from pipeline.access.entered.pending import pending_rows
from pipeline.access.frames.fleet_schemas import FLEET_BIKES, FLEET_WINDOWS
from pipeline.home import own_home
from pipeline.intake.receive import last_hand_in
from tests.askers import HERE
from tests.dashboard import fake_fleet as fakes
from tests.dashboard.fake_views import show_worklist
from tests.dashboard.test_pages import opened, text_of

UNITS = {
    "U-0": {
        "unit_id": "U-0",
        "shop_id": "north",
        "fleet_id": "river",
        "label": "F-00",
        "model_code": "alder",
        "duty": "courier",
        "in_service_on": "2024-01-01",
    },
    "U-5": {
        "unit_id": "U-5",
        "shop_id": "north",
        "model_code": "alder",
        "out_of_service_on": "2026-01-10",
    },
}


@pytest.fixture
def shown(monkeypatch, tmp_path):
    """``shown(view)`` lets the page show that view."""
    monkeypatch.setenv("WEAR_ATLAS_HOME", str(tmp_path))
    monkeypatch.setattr(views, "current_version", lambda home: 1)
    show_worklist(monkeypatch)
    monkeypatch.setattr(
        fleet_entry_part,
        "standing_rows",
        lambda home, asker, table, keys: {key: UNITS[key] for key in keys if key in UNITS},
    )

    def show(view):
        monkeypatch.setattr(fleet_view, "fleet_view", lambda home, asker: view)

    show(fakes.fleet_view())
    return show


def fold(app, key: str):
    app.session_state[key] = True
    return app.run()


def test_what_the_page_makes_of_its_view_is_made_once_however_often_it_runs(shown):
    view = fakes.fleet_view()
    shown(view)
    opened("fleet").run()
    opened("fleet")
    names = [name for of, name, _ in once._KEPT._found if of == id(view)]
    assert sorted(names, key=str) == [("chosen", None, None), "choices", "every"]


def test_bikes_are_counted_ranked_and_drawn_and_none_is_called_safe(shown):
    app = opened("fleet")
    text = text_of(app)
    assert "5 bikes in service. 1 check planned. Of 3 bikes too little is known." in text
    assert "F-00 is the likeliest to be let down on the road within 6 weeks: 30 in 1,000." in text
    assert "Fewer than 0.1 road failures are expected in all" in text
    assert "Of 2 bikes no chance is known." in text
    assert "about 6 in 100, likely 3 to 12" in text
    assert len(app.get("vega_lite_chart")) == 1
    assert "None of them says that a bike is safe." in text
    assert "Engine off" in text
    assert "gone" not in text.split("Bikes of which too little")[0]


def test_bikes_without_readings_say_what_is_missing_and_never_come_out_as_markup(shown):
    text = text_of(opened("fleet"))
    part = text.split("Bikes of which too little is known")[1]
    assert "Odometer last read on 2024-03-10, 735 days ago" in part
    assert "Odometer never read: read it." in part
    assert "Its sensor not tested since fitted or repaired: test on the bench." in part
    assert "No throttle sensor on record: enter it." in part
    assert 'href="register?unit=U-3"' in part
    assert 'href="register?unit=U-1"' in part
    assert 'href="bench?' not in part
    assert "<script>alert(1)" not in part


def test_fleet_and_shop_narrow_every_part_and_stand_in_the_address(shown):
    app = opened("fleet", fleet_of="hill")
    text = text_of(app)
    assert "1 bike in service. 0 checks planned. Of 1 bike too little is known." in text
    assert "No chance is known of any of 1 bike." in text
    assert "No check is planned for these bikes." in text
    assert 'href="checks?check_fleet=hill"' in text
    assert "1 window ahead" in text
    app = opened("fleet", fleet_shop="North Yard")
    assert "3 bikes in service." in text_of(app)
    app.selectbox(key="fleet_of").set_value("no fleet").run()
    assert "1 bike in service." in text_of(app)


def test_the_weeks_can_be_read_as_a_table(shown):
    app = fold(opened("fleet"), "table_fleet_weeks")
    text = text_of(app)
    assert 'data-name="Week 1"' in text
    assert '<span class="wa-cell">not known</span>' in text
    assert '<span class="wa-cell">&lt;1</span>' in text


def test_without_bikes_that_is_said(shown):
    shown(
        fakes.fleet_view(
            bikes=FLEET_BIKES.empty(), weeks=BIKE_WEEKS.empty(), windows=FLEET_WINDOWS.empty()
        )
    )
    assert "No bike is on record." in text_of(opened("fleet"))


def test_where_every_bike_has_left_service_that_is_said_and_one_can_be_brought_back(shown):
    gone = fakes.fleet_bikes().iloc[5:]
    shown(fakes.fleet_view(bikes=gone, windows=FLEET_WINDOWS.empty()))
    app = opened("fleet")
    text = text_of(app)
    assert "No bike of these is in service." in text
    assert "No window ahead is on record" in text
    assert not app.get("vega_lite_chart")
    app = fold(app, "out_fold")
    app.radio(key="out_way").set_value("back").run()
    assert list(app.selectbox(key="in_bike").options) == ["gone (U-5), river"]


def test_where_nothing_is_lacking_that_is_no_praise(shown):
    bikes = fakes.fleet_bikes().iloc[[0, 4]].reset_index(drop=True)
    shown(fakes.fleet_view(bikes=bikes))
    text = text_of(opened("fleet"))
    assert "None of these bikes lacks readings. That says nothing of their state." in text
    assert "too little is known." not in text


def test_a_window_is_saved_for_several_bikes_at_once(shown):
    app = fold(opened("fleet"), "window_fold")
    app.multiselect(key="window_bikes").select("U-0").select("U-3")
    app.date_input(key="window_from").set_value(date(2026, 4, 1))
    app.date_input(key="window_to").set_value(date(2026, 4, 2))
    app.button(key="window_save").click().run()
    assert not app.exception
    kept = pending_rows(own_home(), HERE, "calendar")["calendar"]
    assert list(kept) == ["U-0/2026-04-01/2026-04-02", "U-3/2026-04-01/2026-04-02"]
    text = text_of(app)
    assert "Saved: 2 bikes free from 2026-04-01 to 2026-04-02, not in the plans yet." in text
    assert app.multiselect(key="window_bikes").value == []


def test_a_window_without_bikes_or_ending_before_it_begins_is_refused(shown):
    app = fold(opened("fleet"), "window_fold")
    app.date_input(key="window_from").set_value(date(2026, 4, 2))
    app.date_input(key="window_to").set_value(date(2026, 4, 1))
    app.button(key="window_save").click().run()
    text = text_of(app)
    assert "none is chosen; expected at least one bike" in text
    assert "Free to: “2026-04-01”, before the first day, 2026-04-02" in text
    assert last_hand_in(own_home()) == 0
    assert app.date_input(key="window_from").value == date(2026, 4, 2)


def test_windows_typed_come_first_and_can_be_taken_back_with_a_reason(shown):
    app = fold(opened("fleet"), "back_fold")
    text = text_of(app)
    part = text.split("When bikes can be spared")[1]
    assert part.index("typed, not in the plans yet") < part.index("in the plan</span>")
    app.multiselect(key="back_windows").select("U-0/2026-03-20/2026-03-21")
    app.button(key="back_save").click().run()
    assert "Reason: blank; expected a reason" in text_of(app)
    app.text_input(key="back_reason").input("the tour was moved")
    app.button(key="back_save").click().run()
    (cells,) = pending_rows(own_home(), HERE, "retract")["retract"].values()
    assert cells == {
        "table": "calendar",
        "key": "U-0/2026-03-20/2026-03-21",
        "reason": "the tour was moved",
    }
    assert "Saved: 1 window taken back." in text_of(app)


def test_a_bike_leaves_service_and_loses_no_other_cell(shown):
    app = fold(opened("fleet"), "out_fold")
    app.button(key="out_save").click().run()
    assert "The bike&#x27;s number: blank; expected a bike" in text_of(app)
    app.selectbox(key="out_bike").set_value("U-0")
    app.date_input(key="out_on").set_value(date(2026, 3, 1))
    app.button(key="out_save").click().run()
    assert not app.exception
    kept = pending_rows(own_home(), HERE, "units")["units"]
    assert kept == {"U-0": UNITS["U-0"] | {"out_of_service_on": "2026-03-01"}}
    assert "Saved: out of service since 2026-03-01, not in the plans yet." in text_of(app)


def test_a_bike_out_of_service_can_be_brought_back(shown):
    app = fold(opened("fleet"), "out_fold")
    app.radio(key="out_way").set_value("back").run()
    assert list(app.selectbox(key="in_bike").options) == ["gone (U-5), river"]
    app.selectbox(key="in_bike").set_value("U-5")
    app.button(key="in_save").click().run()
    assert pending_rows(own_home(), HERE, "units")["units"]["U-5"].get("out_of_service_on") is None
    assert "Saved: back in service" in text_of(app)


def test_where_no_bike_has_left_service_none_can_be_brought_back(shown):
    shown(fakes.fleet_view(bikes=fakes.fleet_bikes().iloc[:5]))
    app = fold(opened("fleet"), "out_fold")
    app.radio(key="out_way").set_value("back").run()
    assert "No bike here is out of service." in text_of(app)


def test_a_bike_typed_out_of_service_is_said_at_once(shown):
    bikes = fakes.fleet_bikes()
    bikes.loc[0, "typed_out_on"] = "2026-03-12"
    bikes.loc[5, "typed_back"] = True
    shown(fakes.fleet_view(bikes=FLEET_BIKES.check(bikes)))
    text = text_of(opened("fleet"))
    assert "F-00: out of service since 2026-03-12, not in the plans yet." in text
    assert "gone: back in service, not in the plans yet." in text


def test_cells_are_placed_by_bike_and_week_and_two_of_one_label_are_told_apart():
    bikes = fakes.fleet_bikes().iloc[:3].assign(label=["F", "F", "G"])
    frame = placed(bikes, fakes.weeks())
    assert frame.drop_duplicates("row")["name"].tolist() == ["F U-0", "F U-1", "G"]
    told = frame[frame["road"].notna()]
    assert told["reach"].between(told["left"], told["right"] + 1e-9).all()
    first = frame[frame["row"].eq(0)]
    assert (first["right"] - first["reach"]).tolist() == pytest.approx([0] * 6)
    assert frame.loc[frame["check"], ["row", "week"]].to_numpy().tolist() == [[0, 1.0]]
    assert frame.loc[frame["row"].eq(2), "figure"].unique().tolist() == ["?"]


def test_the_chart_draws_ground_fill_figure_and_checks_with_its_count_and_unit():
    spec = fleet_chart(fakes.fleet_bikes().iloc[:5], fakes.weeks()).to_dict()
    marks = [layer["mark"]["type"] for layer in spec["layer"]]
    assert marks == ["rect", "rect", "text", "point"]
    said = " ".join(spec["title"]["subtitle"])
    assert "n = 5 bikes." in said
    assert "chance in 1,000" in said
    assert "A full bar: 5 in 1,000." in said
    assert "Week 1 begins on 2026-03-16." in said


def test_one_bike_of_which_nothing_is_known_is_drawn_as_not_known():
    bikes = fakes.fleet_bikes().iloc[[2]]
    assert placed(bikes, fakes.weeks())["figure"].unique().tolist() == ["?"]
    assert fleet_reading(bikes, fakes.weeks(bikes)) == "No chance is known of any of 1 bike."


@pytest.mark.parametrize(
    ("chance", "said"),
    [(0.0, "<1"), (0.0004, "<1"), (0.0312, "31"), (0.9997, ">999"), (None, "?")],
)
def test_a_chance_in_1000_is_never_none_and_never_all(chance, said):
    assert in_1000(chance) == said


def test_words_of_parts_of_a_bike():
    row = fakes.fleet_bikes().to_dict("records")[0]
    assert rests_on(row) == "2 sensors"
    assert rests_on(row | {"chance_count": 1}) == "1 of 2 sensors"
    assert check_words(row) == "2026-03-20"
    assert unknown_reasons(row) == []
    told = unknown_reasons(row | {"untested_count": 1, "kindless_count": 2, "waiting_count": 1})
    assert told == [
        "1 of its 2 sensors not tested since fitted or repaired: test on the bench.",
        "All 2 sensors of a part whose kind is not on record: look it up.",
        "Records of it are set aside: mend them.",
    ]
    blank = unknown_reasons(row | {"chance_count": 1})
    assert blank == ["Too little on record for a chance or an advice: test on the bench."]
    assert typed_words(row | {"typed_back": True}) == "F-00: back in service, not in the plans yet."


def test_long_lists_say_how_much_of_them_is_shown(shown):
    bikes = fakes.fleet_bikes().iloc[[2] * 70].reset_index(drop=True)
    bikes = bikes.assign(odometer_read_on="2026-03-10", odometer_stale=False)
    bikes = bikes.assign(unit_id=[f"V-{n}" for n in range(70)], label=[f"v {n}" for n in range(70)])
    shown(fakes.fleet_view(bikes=FLEET_BIKES.check(bikes)))
    text = text_of(opened("fleet"))
    assert "the first 60 are shown, the CSV file holds all" in text
    assert text.count('href="bench?unit=V-') == 60
