"""Rates of repairs as read from a published shop."""

from __future__ import annotations

from datetime import UTC, date, datetime

import pytest

from pipeline.access.repairs_view import repairs_view
from pipeline.access.views import NotThereError
from pipeline.access.worklist_view import WorklistAsked, worklist_found
from pipeline.home import Home
from pipeline.intake.typed.entries import save_entry
from pipeline.warehouse.build import build
from tests.askers import HERE
from tests.pipeline.shop_files import SHOP, hand_in

#: R1 of March comes back in April as R3, R2 is a job without a fault; R4 names a later job.
JOBS = (
    "outcome_id,sensor_id,session_id,closed_on,odometer_km,action,comeback_of\n"
    "R1,S1,T2,2024-03-12,17000,connector_repaired,\n"
    "R2,S2,,2024-03-20,12000,no_fault_found,\n"
    "R3,S1,,2024-04-12,17900,sensor_cleaned,R1\n"
    "R4,S2,,2024-05-12,12500,other_repair,\n"
    "R5,S2,,2024-05-02,12400,other_repair,R4\n"
)


@pytest.fixture(scope="module")
def repaired(tmp_path_factory):
    folder = tmp_path_factory.mktemp("repaired")
    home = Home(folder / "home").prepare(as_of=date(2026, 6, 1))
    shops = SHOP["shops"] + "s2,Kiln Road\n"
    tests = SHOP["test_sessions"].replace("T2,S1,s1", "T2,S1,s2")
    files = {"shops": shops, "test_sessions": tests, "repair_outcomes": JOBS}
    hand_in(home, folder / "a", SHOP | files)
    return home


def counts(view, rate: str, by: str) -> dict:
    rows = view.rates[view.rates["rate"].eq(rate) & view.rates["by"].eq(by)]
    return {row["group_name"]: (row["hits"], row["n"]) for row in rows.to_dict("records")}


def test_a_home_without_records_says_so(home):
    with pytest.raises(NotThereError):
        repairs_view(home, HERE)


def test_a_job_counts_for_the_shop_that_tested_it_else_for_the_bikes_own(repaired):
    view = repairs_view(repaired, HERE)
    assert counts(view, "no_fault_found", "all") == {"all": (1, 5)}
    assert counts(view, "no_fault_found", "shop") == {"Kiln Road": (0, 1), "Weir Lane": (1, 4)}


def test_a_job_comes_back_by_the_later_one_that_names_it_and_never_by_an_earlier_one(repaired):
    view = repairs_view(repaired, HERE)
    assert view.linked == 1
    assert counts(view, "comeback", "shop") == {"Kiln Road": (1, 1), "Weir Lane": (0, 4)}
    assert counts(view, "comeback", "part") == {"P1": (1, 5)}
    assert counts(view, "comeback", "model") == {"alder": (1, 5)}


@pytest.mark.long
def test_advice_kept_and_acted_on_is_put_into_money_and_work_after_a_complaint_is_not(
    home, tmp_path
):
    """S2 is tested as advised and found defective; S1 after a complaint."""
    hand_in(home, tmp_path / "a", SHOP)
    for kept in (*home.advised.glob("*"), *home.published.glob("*.json")):
        kept.unlink()  # advice of the day the test is run on
    with home.one_builder():
        build(home, as_of=date(2025, 7, 10))
    advised = worklist_found(home, HERE, WorklistAsked()).set_index("sensor_id")["action"]
    assert advised.ne("leave").all()
    test = {"odometer_km": 22000, "tested_at": "2025-08-01T09:00:00Z", "verdict": "fail"}
    repair = {
        "closed_on": "2025-08-02",
        "odometer_km": 22000,
        "action": "sensor_replaced",
        "fault_confirmed": "yes",
        "confirmed_by": "opened",
    }
    rows = {
        "test_sessions": [
            test | {"session_id": "N1", "sensor_id": "S2", "reason": "called_in"},
            test | {"session_id": "N2", "sensor_id": "S1", "reason": "symptom"},
        ],
        "repair_outcomes": [
            repair | {"outcome_id": "N1", "sensor_id": "S2"},
            repair | {"outcome_id": "N2", "sensor_id": "S1"},
        ],
    }
    for row in (rows["test_sessions"][1], rows["repair_outcomes"][1]):
        row["odometer_km"] = 27000
    save_entry(home, rows, now=datetime(2025, 9, 2, tzinfo=UTC))
    with home.one_builder():
        build(home, as_of=date(2026, 1, 10))
    view = repairs_view(home, HERE)
    counts = view.saved.caught, view.saved.tested, view.saved.sound, view.saved.noticed
    assert counts == (1, 1, 0, 1)
    assert view.saved.since == date(2025, 7, 10)
    # prior 1 of 2; R1 let the rider down, N2 was complained of, N1 was heard of by nobody
    told, share = view.settings, 2 / 4
    heard = told.labour_cost_per_hour * told.complaint_hours + told.day_off_road_cost * (
        share * told.road_failure_days + (1 - share) * told.complaint_days
    )
    heard += share * told.road_failure_cost
    visit = told.call_in_cost + told.labour_cost_per_hour * told.test_hours
    assert view.saved.estimate == pytest.approx(heard - visit)
    assert view.saved.low < view.saved.estimate < view.saved.high
