"""The whole plan on small shops: who comes when, who does not, and what is said of it."""

from __future__ import annotations

from dataclasses import replace

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


def test_costs_may_come_some_bikes_at_a_time():
    sensors = [sensor(unit, saves=saves) for unit, saves in (("a", 40.0), ("b", 60.0), ("c", 9.0))]
    whole = plan_checks(records(*sensors, sensor("c", number=2)), AS_OF)
    parts = iter([pd.concat(sensors[:2]), pd.concat([sensors[2], sensor("c", number=2)])])
    given = replace(records(*sensors, sensor("c", number=2)), costs=parts)
    for name, frame in vars(plan_checks(given, AS_OF)).items():
        pd.testing.assert_frame_equal(frame, getattr(whole, name))


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


def test_a_part_ordered_today_is_counted_on_from_its_day_and_told_apart():
    made = planned(
        *(
            sensor(u, action="replace", saves=90.0 - 20 * n, a_day=2 - 0.5 * n)
            for n, u in enumerate("abcd")
        ),
        stock=(("P-1", 1, 1, 6),),
        ordered=(("P-1", 1, 13),),
    )
    visits = made.visits.set_index("unit_id")
    assert visits["on_day"].to_dict() == {"a": on(2), "b": on(6), "c": on(13)}
    assert visits["needs_advised_part"].to_dict() == {"a": False, "b": False, "c": True}
    needs = "It needs the part ordered today, due 2026-11-13: P-1, an order not yet placed."
    assert needs in visits["why"]["c"]
    assert not visits["why"].drop("c").str.contains("ordered today").any()
    assert made.work["part_from"].tolist() == ["shelf", "due", "today"]
    assert made.work["part_due_on"].tolist() == [on(0), on(6), on(13)]
    left = only(made.unplaced)  # four bikes, three parts: none is counted twice
    assert (left["unit_id"], left["plight"]) == ("d", "no_part")
    assert "what is advised to be ordered today counted in" in left["words"]


def test_a_part_of_another_shop_is_told_apart_and_missed_where_it_was():
    one = sensor("a", action="replace")
    empty = (("P-1", 0, 0, None),)
    visit = only(planned(one, stock=empty, fetched=(("P-1", 1),)).visits)
    assert "It needs the part fetched from another shop today: P-1." in visit["why"]
    assert visit["needs_advised_part"]
    left = only(planned(one, stock=(("P-1", 1, 0, None),), passed_on=(("P-1", 1),)).unplaced)
    assert left["plight"] == "no_part"


def test_a_newer_number_ordered_today_serves_the_older_after_what_is_there():
    older = (sensor(u, action="replace", part="OLD") for u in "ab")
    chain = {"OLD": "NEW"}
    made = planned(
        *older, stock=(("OLD", 1, 0, None),), ordered=(("NEW", 1, 9),), replaced_by=chain
    )
    assert made.work["part_taken"].tolist() == ["OLD", "NEW"]
    assert made.work["part_from"].tolist() == ["shelf", "today"]


def test_a_test_is_told_where_only_today_s_order_would_have_its_part():
    late = (("a", 20, 20),)
    visit = only(
        planned(
            sensor("a"), stock=(("P-1", 0, 0, None),), ordered=(("P-1", 2, 9),), windows=late
        ).visits
    )
    assert "part P-1 is there only if it is got as advised today" in visit["why"]
    assert not visit["needs_advised_part"]


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


def test_late_is_said_only_where_a_check_is_worth_it_or_owed():
    dear = sensor("a", saves=-30.0)
    held = planned(dear, sensor("b", saves=-5.0, number=1), owed=("b/1",))
    assert held.visits["unit_id"].tolist() == ["b"]
    visit = only(held.visits)
    assert visit["late"]
    assert "Late: the worklist asks for it now, and no later day costs less." in visit["why"]
    assert "best day lies past" not in visit["why"]
    # two sensors of one bike: one owed and dear, the other of no use
    both = planned(sensor("a", saves=-1.0, a_day=2.0), owed=(), windows=(("a", 5, 9),))
    assert both.visits.empty
    assert both.unplaced.empty


def test_why_a_visit_is_owed_is_told_of_it():
    visit = only(planned(sensor("a"), owed=("a/1",), owed_for="not_known").visits)
    assert (visit["owed"], visit["owed_for"]) == (True, "not_known")
    free = only(planned(sensor("a")).visits)
    assert not free["owed"]
    assert pd.isna(free["owed_for"])


def test_no_bike_comes_on_a_closed_day():
    closed = CheckSettings(closed_days=(on(2).date(), on(3).date()))
    made = planned(sensor("a"), settings=closed)
    assert only(made.visits)["on_day"] == on(4)
    assert len(made.days) == 28


def test_weeks_in_which_every_day_is_closed_give_an_empty_plan():
    closed = CheckSettings(
        weeks_ahead=1, working_days=(0, 1), closed_days=(on(2).date(), on(3).date())
    )
    made = planned(
        sensor("a", fleet="f"),
        sensor("b", action="replace"),
        settings=closed,
        owed=("a/1",),
        stock=(("P-1", 1, 0, None),),
        without_costs=("c",),
    )
    assert made.visits.empty
    assert made.days.empty
    assert made.about["bike_count"].tolist() == [3]


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


@settings(max_examples=20)
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
    today, due_today = draw(st.integers(0, 2)), draw(st.integers(1, 40))
    made = planned(
        *sensors,
        windows=windows,
        stock=(("P-1", there, order, due),),
        owed=owed,
        ordered=(("P-1", today, due_today),),
    )
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
    assert taken["part_from"].notna().all()  # none is planned without a part of its own
    sources = taken["part_from"].value_counts()
    counts = {"shelf": there, "due": order, "today": today}
    assert all(sources.get(name, 0) <= count for name, count in counts.items())
    assert (taken["part_due_on"] <= taken["on_day"]).all()
    if not owed:
        assert made.about["saves"].sum() >= -1e-9
