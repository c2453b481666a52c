"""The whole plan on small shops: who comes when, who does not, and what is said of it."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from models.check_plan.plan import plan_checks
from models.check_plan.settings import CheckSettings
from models.frames import FrameError
from tests.models.check_plan.records import AS_OF, on, records, sensor


def planned(*sensors, settings: CheckSettings | None = None, **more):
    return plan_checks(records(*sensors, **more), AS_OF, settings)


def only(frame: pd.DataFrame) -> dict:
    (row,) = frame.to_dict("records")
    return row


def test_a_private_bike_comes_on_the_cheapest_working_day():
    visit = only(planned(sensor("a")).visits)
    assert visit["on_day"] == on(2)  # Monday, the first working day
    assert visit["saves"] == pytest.approx(40.0 - 0.5 * 2)
    assert visit["late"]
    assert "Late: every day of waiting costs" in visit["why"]
    assert "first day open" in visit["why"]


def test_costs_are_drawn_straight_between_their_days():
    visit = only(planned(sensor("a"), windows=(("a", 6, 6),)).visits)
    assert visit["on_day"] == on(6)
    assert visit["saves"] == pytest.approx(37.0)
    assert visit["waiting_costs"] == pytest.approx(2.0)


def test_where_waiting_saves_the_last_day_is_best_and_nothing_is_late():
    visit = only(planned(sensor("a", saves=10.0, a_day=-0.5)).visits)
    assert visit["on_day"] == on(41)
    assert not visit["late"]
    assert "No other working day costs less." in visit["why"]


def test_a_fleet_bike_comes_inside_its_windows_only():
    visit = only(planned(sensor("a", fleet="f"), windows=(("a", 11, 13),)).visits)
    assert on(11) <= visit["on_day"] <= on(13)
    assert "Monday 2026-11-02 would cost" in visit["why"]


def test_a_fleet_bike_without_a_window_ahead_is_said_and_not_planned():
    made = planned(
        sensor("a", fleet="f", saves=90.0),
        sensor("b", fleet="f"),
        windows=(("b", 3, 5), ("a", -9, -1)),
    )
    assert made.visits["unit_id"].tolist() == ["b"]
    left = only(made.unplaced)
    assert (left["unit_id"], left["plight"]) == ("a", "no_window")
    assert left["waiting_costs"] == pytest.approx(89.0)
    assert "none lies ahead for this bike" in left["words"]
    assert "expected to cost 89 more than a check on Monday 2026-11-02" in left["words"]


def test_a_window_without_a_working_day_is_no_day_either():
    left = only(planned(sensor("a", fleet="f"), windows=(("a", 7, 8),)).unplaced)  # a weekend
    assert left["plight"] == "no_window"
    saturdays = CheckSettings(working_days=(0, 1, 2, 3, 4, 5))
    made = planned(sensor("a", fleet="f"), windows=(("a", 7, 8),), settings=saturdays)
    assert only(made.visits)["on_day"] == on(7)


def test_a_fleet_that_hands_in_no_windows_comes_on_any_day():
    assert only(planned(sensor("a", fleet="f")).visits)["on_day"] == on(2)


def test_a_private_bike_whose_windows_have_passed_can_be_called_again():
    assert only(planned(sensor("a"), windows=(("a", -9, -3),)).visits)["on_day"] == on(2)


def test_a_replacement_waits_for_its_part():
    made = planned(
        sensor("a", action="replace"),
        sensor("b", action="replace", saves=30.0),
        stock=(("P-1", 1, 1, 13),),
    )
    days = made.visits.set_index("unit_id")["on_day"]
    assert days["a"] == on(2)
    assert days["b"] == on(13)
    why = made.visits.set_index("unit_id")["why"]
    assert "Part P-1 is there." in why["a"]
    assert "Part P-1 is due by 2026-11-13." in why["b"]


def test_without_a_part_there_or_due_a_replacement_is_said_and_not_planned():
    left = only(planned(sensor("a", action="replace"), stock=(("P-1", 0, 0, None),)).unplaced)
    assert left["plight"] == "no_part"
    assert "Part P-1 is neither there nor due" in left["words"]


def test_an_order_that_was_late_when_the_parts_were_counted_is_not_counted_on():
    left = only(planned(sensor("a", action="replace"), stock=(("P-1", 0, 2, -4),)).unplaced)
    assert left["plight"] == "no_part"


def test_a_test_needs_no_part_but_says_so_where_it_may():
    visit = only(planned(sensor("a"), stock=(("P-1", 0, 0, None),)).visits)
    assert "No part P-1 is there or due by then, should the test find a defect." in visit["why"]


def test_a_shop_without_counts_is_not_held_to_its_stock():
    visit = only(planned(sensor("a", action="replace")).visits)
    assert "No stock is on record here" in visit["why"]


def test_a_newer_number_serves_for_the_older_and_not_the_other_way_round():
    older = sensor("a", action="replace", part="OLD")
    newer = sensor("b", action="replace", part="NEW")
    chain = {"OLD": "NEW"}
    made = planned(older, newer, stock=(("NEW", 1, 0, None),), replaced_by=chain)
    assert len(made.visits) == 1
    assert made.unplaced["plight"].tolist() == ["no_part"]
    made = planned(older, newer, stock=(("OLD", 2, 0, None),), replaced_by=chain)
    assert made.visits["unit_id"].tolist() == ["a"]


def test_hours_go_to_the_checks_that_save_most():
    day = CheckSettings(weeks_ahead=1, working_days=(0,))  # 2 h: four tests
    made = planned(*(sensor(f"u{n}", saves=10.0 + n) for n in range(6)), settings=day)
    assert made.visits["unit_id"].tolist() == ["u2", "u3", "u4", "u5"]
    assert made.unplaced["plight"].tolist() == ["no_hours", "no_hours"]
    assert made.unplaced["unit_id"].tolist() == ["u1", "u0"]  # the dearest first
    full = only(made.days)
    assert (full["planned_hours"], full["visit_count"]) == (2.0, 4)
    assert full["further_hours"] == pytest.approx(4 * 0.2 * 0.8)


def test_unknown_bay_hours_are_assumed_and_said():
    about = only(planned(sensor("a"), bay_hours=None).about)
    assert about["hours_assumed"]
    assert about["check_hours"] == pytest.approx(30 * 2.0)


def test_a_bike_that_alone_is_not_worth_a_day_of_its_depot():
    left = only(planned(sensor("a", fleet="f", saves=20.0, a_day=0.1)).unplaced)
    assert left["plight"] == "not_worth_a_day"
    made = planned(*(sensor(u, fleet="f", saves=20.0, a_day=0.1) for u in "ab"))
    assert made.visits["with_depot"].tolist() == [2, 2]
    assert made.visits["on_day"][0] == made.visits["on_day"][1]
    assert "2 bikes of its depot come that day." in made.visits["why"][0]


def test_sensors_of_one_bike_come_in_one_visit():
    made = planned(sensor("a"), sensor("a", number=2, saves=5.0, a_day=0.0))
    assert only(made.visits)["sensor_count"] == 2
    assert made.work["on_day"].tolist() == [on(2), on(2)]
    assert made.work["saves"].sum() == pytest.approx(made.visits["saves"][0])


def test_a_check_that_saves_nothing_is_not_planned_unless_the_advice_asks_for_it():
    made = planned(sensor("a", saves=-30.0))
    assert made.visits.empty
    assert made.unplaced.empty
    assert made.about["not_worth_count"].tolist() == [1]
    visit = only(planned(sensor("a", saves=-30.0), owed=("a/1",)).visits)
    assert visit["owed"]
    assert visit["on_day"] == on(2)
    assert "The worklist asks for work on it" in visit["why"]
    assert "31 more than no check" in visit["why"]


def test_what_the_advice_asks_for_outweighs_what_saves_more():
    day = CheckSettings(weeks_ahead=1, working_days=(0,), check_share_of_bay_hours=0.0625)
    made = planned(sensor("a", saves=-10.0), sensor("b", saves=90.0), owed=("a/1",), settings=day)
    assert made.visits["unit_id"].tolist() == ["a"]
    assert made.unplaced["plight"].tolist() == ["no_hours"]


def test_a_bike_of_which_nothing_is_known_is_named():
    left = only(planned(sensor("a"), without_costs=("b",)).unplaced)
    assert (left["unit_id"], left["plight"]) == ("b", "cost_not_known")
    assert np.isnan(left["waiting_costs"])


def test_nothing_on_record_gives_an_empty_plan():
    made = planned()
    assert made.visits.empty
    assert made.unplaced.empty
    assert len(made.days) == 30


def test_costs_of_unlike_days_are_refused():
    rows = sensor("a")
    with pytest.raises(ValueError, match="every sensor needs one row for each day"):
        planned(rows, sensor("b").iloc[1:])


def test_a_missing_column_is_named():
    with pytest.raises(FrameError, match="check_costs: no column cost_without"):
        planned(sensor("a").drop(columns="cost_without"))


@pytest.mark.parametrize(
    ("name", "value"),
    [("weeks_ahead", 0), ("check_share_of_bay_hours", 1.5), ("working_days", (7,))],
)
def test_settings_out_of_bounds_are_named(name, value):
    with pytest.raises(ValueError, match=name):
        CheckSettings(**{name: value})


@settings(max_examples=20, deadline=None)
@given(data=st.data())
def test_no_plan_breaks_windows_hours_or_parts(data):
    draw = data.draw
    units = [f"u{n}" for n in range(draw(st.integers(1, 7)))]
    fleets = {u: draw(st.sampled_from([None, "f", "g"])) for u in units}
    sensors = [
        sensor(
            u,
            saves=draw(st.floats(-20, 90)),
            a_day=draw(st.floats(-1, 1)),
            action=draw(st.sampled_from(["test", "replace"])),
            fleet=fleets[u],
        )
        for u in units
    ]
    starts = draw(st.lists(st.tuples(st.sampled_from(units), st.integers(-5, 45)), max_size=8))
    windows = tuple((u, start, start + 2) for u, start in starts)
    there, order, due = (draw(st.integers(0, 2)), draw(st.integers(0, 2)), draw(st.integers(1, 40)))
    owed = tuple(f"{u}/1" for u in units if draw(st.booleans()))
    made = planned(*sensors, windows=windows, stock=(("P-1", there, order, due),), owed=owed)
    assert made.visits["unit_id"].is_unique
    assert set(made.visits["unit_id"]).isdisjoint(made.unplaced["unit_id"])
    own = [(u, on(first), on(last)) for u, first, last in windows]
    bound = {fleets[u] for u, _, _ in windows} - {None}
    for row in made.visits.to_dict("records"):
        assert row["on_day"].weekday() < 5
        if fleets[row["unit_id"]] in bound:
            assert any(u == row["unit_id"] and a <= row["on_day"] <= b for u, a, b in own)
    assert (made.days["planned_hours"] <= made.days["check_hours"] + 1e-6).all()
    taken = made.work[made.work["action"].eq("replace")]
    assert len(taken) <= there + order
    assert (taken["on_day"] < on(due)).sum() <= there
    if not owed:
        assert made.about["saves"].sum() >= -1e-9
