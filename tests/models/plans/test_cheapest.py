from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

import models.plans.check_costs as check_costs_module
from models.plans.cheapest import cheapest, weigh
from models.plans.check_costs import check_costs, check_costs_by_part, check_days
from models.plans.costs import prices_of
from models.plans.settings import PlanSettings
from tests.models.plans.outlooks import TEST, outlook

USUAL = PlanSettings()


def answers(view, settings=USUAL):
    return cheapest(view, weigh(view, settings), settings)


def test_a_sensor_surely_defective_is_replaced_and_a_new_one_left():
    table = answers(outlook([45_000, 0], belief=[0.95, 0.0]))
    assert table["cheapest"].tolist() == ["replace", "leave"]
    assert table["replace_now"][0] < table["test_now"][0] < table["leave"][0]
    assert table["leave"][1] < table["test_now"][1]


def test_between_them_a_test_pays():
    dear = replace(USUAL, road_failure_cost=1_500.0)
    row = answers(outlook([5_000], belief=0.25), dear).iloc[0]
    assert row["cheapest"] == "test"
    assert row["test_above"] < 0.25 < row["replace_above"]


def test_the_cheapest_is_the_least_of_what_is_told():
    view = outlook(np.linspace(0, 80_000, 40), belief=np.linspace(0, 0.6, 40))
    table = answers(view)
    costs = table[["replace_now", "test_now", "test_later", "replace_later", "leave"]]
    due = table["next_days"] <= USUAL.act_within_days
    least = costs.idxmin(axis=1).str.replace("_now", "").str.replace("_later", "")
    assert table["cheapest"].tolist() == least.where(due, "leave").tolist()
    assert np.all(costs.min(axis=1) > 0)


def test_dearer_failures_never_call_for_less():
    view = outlook(np.linspace(0, 80_000, 40), belief=np.linspace(0, 0.6, 40))
    acting = [
        answers(view, replace(USUAL, road_failure_cost=cost))["cheapest"].ne("leave").sum()
        for cost in (0.0, 350.0, 2_000.0)
    ]
    assert acting == sorted(acting)
    assert acting[0] < acting[-1]


def test_a_longer_horizon_counts_more_cost():
    view = outlook([30_000])
    short, long = (
        answers(view, replace(USUAL, planning_horizon_days=days)).iloc[0] for days in (90, 730)
    )
    assert long["horizon_km"] == pytest.approx(60 * 730)
    assert long["leave"] > short["leave"]


def test_a_sensor_not_known_gets_no_answer_and_keeps_its_row():
    view = outlook([30_000, 30_000, 30_000], km_per_day=[60.0, np.nan, 60.0])
    view.onset[2] = np.nan
    table = answers(view)
    assert table["sensor_id"].tolist() == view.sensors["sensor_id"].tolist()
    assert table["cheapest"].notna().tolist() == [True, False, False]


def test_no_sensor_known():
    view = outlook([30_000], km_per_day=np.nan)
    assert answers(view)["cheapest"].isna().all()


def test_the_cost_of_a_new_life_is_drawn_straight_between_kinds():
    """A kind between two others costs between them, and as if it were alone to 1 in 100."""
    ratios = np.linspace(0.5, 2.0, 7)
    view = outlook(np.full(7, 30_000.0), new_hazard_ratio=ratios)
    together = answers(view)["usual_cost_per_1000_km"].to_numpy()
    assert np.all(np.diff(together) > 0)
    alone = answers(outlook([30_000], new_hazard_ratio=ratios[3]))["usual_cost_per_1000_km"]
    assert together[3] == pytest.approx(alone.item(), rel=0.01)


def test_prices_as_added_up_by_hand():
    """Part 100, labour 70: 0.8 h to replace, 0.5 h to test; half of the failures on the road."""
    settings = PlanSettings(road_failure_cost=350.0)
    price = prices_of(np.array([100.0, np.nan]), 0.5, settings)
    assert price.test[0] == 20 + 0.5 * 70
    assert price.found[0] == 100 + 0.8 * 70
    assert price.replace[0] == 156 + 20
    assert price.false_alarm[0] == 156 + 40
    assert price.heard[0] == 156 + 0.5 * 70 + 45 * (0.5 * 2 + 0.5 * 0.5) + 0.5 * 350
    assert price.found[1] == settings.part_cost_if_unknown + 0.8 * 70


def planned(view, work):
    ids = view.sensors["sensor_id"]
    owed = {"work": work, "work_days": 0.0, "owed_for": "advised" if work else None}
    return pd.DataFrame({"sensor_id": ids, **owed})


def checks(view, work=None, settings=USUAL):
    return check_costs(view, weigh(view, settings), planned(view, work), settings)


def test_the_cost_of_a_visit_on_each_day():
    view = outlook([15_000, 45_000], belief=[0.25, 0.9])
    table = checks(view)
    assert len(table) == 2 * len(check_days(6))
    tested, worn = (table[table["sensor_id"] == name] for name in ("S-00000", "S-00001"))
    assert worn["action"].eq("replace").all()
    assert worn["part_needed"].eq(1.0).all()
    assert worn["cost"].is_monotonic_increasing
    assert (worn["cost"] <= worn["cost_without"] + 1e-9).all()
    finds = tested["part_needed"].iloc[0]
    assert finds == pytest.approx(0.25 * TEST.sensitivity + 0.75 * TEST.false_alarm, abs=0.01)
    now = answers(view)
    assert worn["cost"].iloc[0] == pytest.approx(now["replace_now"].iloc[1], rel=0.02)


def test_some_sensors_at_a_time_cost_what_all_do(monkeypatch):
    monkeypatch.setattr(check_costs_module, "_AT_ONCE", 3)
    view = outlook(np.linspace(5_000, 80_000, 8), belief=0.2)
    view.onset[2] = np.nan  # not known
    weighed, work = weigh(view, USUAL), planned(view, "test")
    parts = list(check_costs_by_part(view, weighed, work, USUAL))
    assert [len(part) // len(check_days(6)) for part in parts] == [3, 3, 1]
    pd.testing.assert_frame_equal(
        pd.concat(parts, ignore_index=True), check_costs(view, weighed, work, USUAL)
    )


def test_a_sensor_advised_to_be_replaced_is_replaced():
    view = outlook([15_000], belief=0.05)
    assert checks(view)["action"].eq("test").all()
    assert checks(view, "replace")["action"].eq("replace").all()


def test_visits_in_an_empty_workshop():
    assert checks(outlook(np.zeros(0))).empty


def test_the_days_of_visits_follow_the_weeks_planned():
    assert check_days(2).tolist() == [1, 4, 8, 11, 15]
    view = outlook([15_000], belief=0.05)
    longer = checks(view, settings=replace(USUAL, weeks_ahead=12))
    assert longer["day"].max() == 85
    shorter = checks(view)
    at = [table.set_index("day")["cost"].loc[[1, 22, 43]] for table in (longer, shorter)]
    assert at[0].to_numpy() == pytest.approx(at[1].to_numpy())


def test_costs_are_the_same_whether_or_not_sensors_are_weighed_again():
    view = outlook(np.linspace(0, 90_000, 30), belief=np.linspace(0, 0.9, 30))
    once = weigh(view, USUAL, again=False)
    assert "courses" not in vars(view)
    for kept, own in zip(weigh(view, USUAL).found, once.found, strict=True):
        assert np.array_equal(kept, own, equal_nan=True)
