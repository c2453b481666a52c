"""Rates of repairs as read from a published shop."""

from __future__ import annotations

from datetime import date

import pytest

from pipeline.access.repairs_view import repairs_view
from pipeline.access.views import NotThereError
from pipeline.home import Home
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
        repairs_view(home)


def test_a_job_counts_for_the_shop_that_tested_it_else_for_the_bikes_own(repaired):
    view = repairs_view(repaired)
    assert counts(view, "no_fault_found", "all") == {"all": (1, 5)}
    assert counts(view, "no_fault_found", "shop") == {"Kiln Road": (0, 1), "Weir Lane": (1, 4)}


def test_a_job_comes_back_by_the_later_one_that_names_it_and_never_by_an_earlier_one(repaired):
    view = repairs_view(repaired)
    assert view.linked == 1
    assert counts(view, "comeback", "shop") == {"Kiln Road": (1, 1), "Weir Lane": (0, 4)}
    assert counts(view, "comeback", "part") == {"P1": (1, 5)}
    assert counts(view, "comeback", "model") == {"alder": (1, 5)}
