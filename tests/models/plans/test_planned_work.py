import pandas as pd

from models.plans.planned_work import owed_now, planned_work
from models.plans.schemas import CHEAPEST
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


def test_no_sensors_no_work():
    assert planned_work(CHEAPEST.empty(), ACTION).empty
