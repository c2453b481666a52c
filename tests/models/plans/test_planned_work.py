import pandas as pd

from models.plans.planned_work import owed_now, planned_work, waiting_private
from models.plans.schemas import CHEAPEST
from models.plans.settings import PlanSettings
from tests.models.plans.test_advice import COSTS

COSTS_OF = CHEAPEST.check(
    pd.DataFrame(
        [
            COSTS | {"sensor_id": "replaced"},
            COSTS | {"sensor_id": "tested", "next_work": None, "next_days": None},
            COSTS | {"sensor_id": "not known", "cheapest": None, "next_work": None},
            COSTS | {"sensor_id": "left until later"},
            COSTS | {"sensor_id": "left", "next_work": None, "next_days": None},
        ]
    )
)
ACTION = pd.Series(
    ["leave", "leave", "not_enough_known", "test", "replace"],
    index=["left", "left until later", "not known", "tested", "replaced"],
)


def test_what_is_advised_is_done_now_and_what_is_left_when_it_costs_least():
    work = planned_work(COSTS_OF, ACTION)
    assert work["sensor_id"].tolist() == COSTS_OF["sensor_id"].tolist()
    assert work["work"].fillna("").tolist() == ["replace", "test", "test", "test", ""]
    assert work["work_days"].fillna(-1).tolist() == [0, 0, 0, 62, -1]


def test_what_is_to_be_done_now_is_owed():
    assert owed_now(planned_work(COSTS_OF, ACTION))["sensor_id"].tolist() == [
        "replaced",
        "tested",
        "not known",
    ]


def test_why_work_is_owed_is_told():
    owed = owed_now(planned_work(COSTS_OF, ACTION)).set_index("sensor_id")["owed_for"]
    assert owed.to_dict() == {
        "replaced": "advised",
        "tested": "advised",
        "not known": "not_known",
    }


def test_private_bikes_too_little_known_wait_where_the_owner_says_so():
    sensors = COSTS_OF[["sensor_id"]].assign(fleet_id=None)
    asked = waiting_private(sensors, ACTION, PlanSettings())
    assert asked == frozenset()
    wait = PlanSettings(private_not_known="wait")
    assert waiting_private(sensors, ACTION, wait) == {"not known"}
    assert waiting_private(sensors.assign(fleet_id="f"), ACTION, wait) == frozenset()
    work = planned_work(COSTS_OF, ACTION, frozenset({"not known"}))
    assert owed_now(work)["sensor_id"].tolist() == ["replaced", "tested"]
    left = work.set_index("sensor_id").loc["not known"]
    assert left.isna()[["work", "owed_for"]].all()


def test_a_waiting_bike_for_which_a_test_costs_least_now_is_not_owed_but_planned_by_cost():
    pays = COSTS_OF.assign(next_work="test", next_days=0.0)
    work = planned_work(pays, ACTION, frozenset({"not known"})).set_index("sensor_id")
    assert work.loc["not known", "work"] == "test"
    assert work["owed_for"].isna().to_dict()["not known"]


def test_no_sensors_no_work():
    assert planned_work(CHEAPEST.empty(), ACTION).empty
